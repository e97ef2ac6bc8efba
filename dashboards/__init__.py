"""What a person sees: Dash pages over host. Nothing in host knows that they exist."""
