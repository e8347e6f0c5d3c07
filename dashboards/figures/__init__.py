"""Pictures of results: each takes a result and returns a plotly figure."""
