"""The monthly summary by mail: only where the owner has set it up."""
