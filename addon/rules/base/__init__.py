"""What every rule needs: errors, progress, checked tables, process profiles."""
