"""Link families, frames, fit and layouts."""
