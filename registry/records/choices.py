"""Forms of an export."""

from django.db.models import TextChoices


class ExportForm(TextChoices):
    """Form of an export, named in the query."""

    JSON = "json", "one JSON object"
    CSV = "csv", "CSV files in a ZIP"
