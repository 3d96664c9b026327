"""What the project measures of itself; never packaged."""
