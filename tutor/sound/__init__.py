"""Notes to samples, samples to notes, and the ports that devices sit behind."""
