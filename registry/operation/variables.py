"""Variables of the environment that start like ours and are not."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from registry.api.nearest import nearest_names
from registry.settings.environment import OWN_PREFIX, VARIABLES


def unknown_variable_texts(names: Iterable[str]) -> Iterator[str]:
    """A sentence for each, with the names it may have been meant for."""
    # Without what they all have in common, which would make everything alike.
    known = {name.removeprefix(OWN_PREFIX): name for name in VARIABLES if OWN_PREFIX in name}
    for name in names:
        near = [known[one] for one in nearest_names(name.removeprefix(OWN_PREFIX), known)]
        hint = f" Did you mean {' or '.join(near)}?" if near else ""
        yield f"The environment sets {name}, which nothing reads.{hint}"
