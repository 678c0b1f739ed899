"""Between what keepers state of parents, stored JSON, and the genetics' parent statements."""
