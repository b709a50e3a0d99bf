"""Many clips: which, under what name, on how many processes, and what is already done."""
