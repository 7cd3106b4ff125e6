"""The farm as a Django app; its statements are kept append-only like the book's facts."""

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate


class FarmConfig(AppConfig):
    name = "farm"

    def ready(self) -> None:
        from farm.models import NEVER_CHANGED
        from ledger import append_only

        for model in NEVER_CHANGED:
            append_only.protect(model._meta.db_table)
        post_migrate.connect(add_usual_times, sender=self)


def add_usual_times(*, using: str, **_: object) -> None:
    """Give a farm that exists the usual minutes of kinds that came with a new release."""
    from farm.actions.starting import starting
    from farm.models import Farm

    there = connections[using].introspection.table_names()
    if Farm._meta.db_table in there and Farm.objects.using(using).exists():
        starting.add_usual_times()
