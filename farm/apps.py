"""The farm as a Django app; its statements are kept append-only like the book's facts."""

from django.apps import AppConfig


class FarmConfig(AppConfig):
    name = "farm"

    def ready(self) -> None:
        from farm.models import NEVER_CHANGED
        from ledger import append_only

        for model in NEVER_CHANGED:
            append_only.protect(model._meta.db_table)
