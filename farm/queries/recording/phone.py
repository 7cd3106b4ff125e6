"""What came from a telephone: the photos beside an entry or a record, how and when a form came."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet

from farm.models import PhoneForm, Photo, Record
from ledger import waiting
from ledger.models import Entry


def photos_of(to: Entry | Record) -> list[Photo]:
    """The photos beside something, those taken out too, without the pictures; one query."""
    beside = {"entry": to} if isinstance(to, Entry) else {"record": to}
    found = Photo.objects.filter(**beside).defer("image")
    return list(found.select_related("by", "removed_by"))


def pictures_of(beside: Sequence[Entry] | Sequence[Record]) -> Iterator[Photo]:
    """The pictures beside entries, or beside records, one after the other; one query."""
    of_entries = {"entry__in": beside} if isinstance(next(iter(beside), None), Entry) else {}
    found = Photo.objects.filter(**(of_entries or {"record__in": beside}), removed_at=None)
    return found.select_related("by").order_by("entry_id", "record_id", "pk").iterator()


def photos() -> QuerySet[Photo]:
    return Photo.objects.select_related("entry", "record")


def came_from_phone(uuid: UUID) -> PhoneForm | None:
    """How the form of an entry or a record came, where it had waited on a telephone."""
    return PhoneForm.objects.filter(uuid=uuid).first()


def typed_at(uuid: UUID) -> datetime | None:
    """When a form was typed that waited: on a telephone, else under To sort out; two queries."""
    on_phone = came_from_phone(uuid)
    return on_phone.kept_at if on_phone else waiting.first_kept(uuid)
