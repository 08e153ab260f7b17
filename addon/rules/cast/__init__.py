"""Materials, flask and weights."""
