"""The registry: a Django project that keeps clutches and answers from their pool."""
