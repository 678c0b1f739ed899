"""Starting and stopping: the embedded PostgreSQL, the web server, the console script."""
