"""What the workshop recorded."""
