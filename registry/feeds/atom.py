"""A feed as Atom (RFC 4287), with Django's feed generator."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from django.utils.feedgenerator import Atom1Feed, rfc3339_date

from registry.feeds.selectors import AtomFeed, midnight

AUTHOR: Final = "Broodcount"
"""RFC 4287 wants an author; nobody is named."""

_JSON: Final = "application/json"


def atom_bytes(feed: AtomFeed, *, here: str, address_of: Callable[[str, str], str]) -> bytes:
    """The feed as XML, the same bytes for the same entries.

    Parameters
    ----------
    here
        Address of the feed itself.
    address_of
        Gives the address of the answer on a combination, from species and genes.
    """
    made = _Feed(
        title=feed.title,
        link=here,
        feed_url=here,
        description="",
        subtitle=feed.subtitle,
        language="en",
        author_name=AUTHOR,
        feed_guid=feed.id.urn,
        day=midnight(feed.day),
    )
    for one in feed.entries:
        made.add_item(
            title=one.title,
            link=address_of(*one.path),
            description=one.text,
            unique_id=one.public_id.urn,
            updateddate=midnight(one.day),
        )
    return made.writeString("utf-8").encode()


class _Feed(Atom1Feed):
    """Atom as Django makes it, but for three things.

    The identifier does not depend on the address, the time is that of the last change and not the
    clock's, and links say what they lead to.
    """

    content_type = "application/atom+xml; charset=utf-8"

    def add_root_elements(self, handler: Any) -> None:
        """What stands before the entries."""
        handler.addQuickElement("title", self.feed["title"])
        handler.addQuickElement("subtitle", self.feed["subtitle"])
        handler.addQuickElement("link", "", {"rel": "self", "href": self.feed["feed_url"]})
        handler.addQuickElement("id", self.feed["id"])
        handler.addQuickElement("updated", rfc3339_date(self.feed["day"]))
        handler.startElement("author", {})
        handler.addQuickElement("name", self.feed["author_name"])
        handler.endElement("author")

    def add_item_elements(self, handler: Any, item: Any) -> None:
        """One entry."""
        link = {"rel": "alternate", "type": _JSON, "href": item["link"]}
        handler.addQuickElement("title", item["title"])
        handler.addQuickElement("link", "", link)
        handler.addQuickElement("id", item["unique_id"])
        handler.addQuickElement("updated", rfc3339_date(item["updateddate"]))
        handler.addQuickElement("summary", item["description"], {"type": "text"})
