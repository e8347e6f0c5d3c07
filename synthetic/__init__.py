"""The invented workshop: stated true effects and a seed make a history and its truth."""
