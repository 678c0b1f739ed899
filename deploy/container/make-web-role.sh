#!/bin/sh
# Run once by the database's image when it makes the database: the role of the web server. What it
# may do is granted by 'broodcount serve' after each migration. Executable, or the image would read it
# into its own shell, with 'set -eu'.
set -eu

# As a variable of psql, quoted by it: a password may hold anything.
psql --no-psqlrc --set=ON_ERROR_STOP=1 --set=password="$WEB_PASSWORD" \
    --username="$POSTGRES_USER" --dbname="$POSTGRES_DB" <<'SQL'
CREATE ROLE broodcount_web LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE PASSWORD :'password';
REVOKE TEMPORARY ON DATABASE broodcount FROM PUBLIC;
SQL
