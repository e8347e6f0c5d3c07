"""The gate before the dashboard: which hosts and origins, who is signed in, which headers."""
