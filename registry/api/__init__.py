"""What every call of the interface shares: problems, parameters, paging, schema. No models."""
