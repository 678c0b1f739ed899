# Read by 'serve' and 'test': makes the private environment of this checkout and installs what is
# needed. Expects $here (the folder deploy) and $extras (extra requirements, such as [dev]).

root=$(dirname -- "$here")
environment="$root/.venv"

recent_python() {
    for candidate in python3.11 python3 python3.12 python3.13 python3.14 python; do
        if command -v "$candidate" >/dev/null 2>&1 &&
            "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            command -v "$candidate"
            return
        fi
    done
    echo 'Python 3.11 or newer is needed, and none was found on the search path.' >&2
    exit 1
}

# The environment is made anew if its interpreter is gone or its checkout has moved.
if ! "$environment/bin/python" -c '' 2>/dev/null ||
    [ "$(cat "$environment/made-for" 2>/dev/null)" != "$root" ]; then
    python=$(recent_python)
    echo "Making a private environment in $environment" >&2
    rm -rf -- "$environment"
    if ! "$python" -m venv "$environment"; then
        rm -rf -- "$environment"
        echo "$python can't make a virtual environment; its module venv is needed." >&2
        exit 1
    fi
    printf '%s' "$root" >"$environment/made-for"
fi

wanted=$(cat "$root/pyproject.toml" "$root/requirements.lock" | cksum)
stamp="$environment/installed$extras"
if [ "$(cat "$stamp" 2>/dev/null)" != "$wanted" ]; then
    echo 'Installing what is needed; this takes a few minutes the first time.' >&2
    # A name in square brackets after a path with spaces needs the folder to be the current one.
    (cd "$root" && "$environment/bin/python" -m pip install --quiet \
        --disable-pip-version-check -c requirements.lock -e ".$extras") || exit 1
    printf '%s' "$wanted" >"$stamp"
fi
