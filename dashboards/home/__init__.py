"""The home page: what is next."""
