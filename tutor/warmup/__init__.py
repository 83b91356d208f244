"""From a reading and a singer to a plan with reasons."""
