"""Settings; the environment is read here and nowhere else."""
