"""What the program can be asked: the options of each verb, and the answer it gives."""
