"""What is asked, when, and how an answer is judged."""
