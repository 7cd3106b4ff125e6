"""Sign-ins as they were tried, and the sessions that came of them."""

from django.conf import settings
from django.db import models

from farm import habits


class SignIn(models.Model):
    """One try to sign in: who, when, from where, and whether it succeeded.

    What was typed is not kept, as it may be a password in the wrong field: ``name_digest`` is a
    keyed digest of it, by which tries under one name are counted; ``user`` is set where the name
    is known. ``session_key``: the session that it began, blank once that has ended.
    """

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="sign_ins"
    )
    name_digest = models.CharField(max_length=64)
    at = models.DateTimeField()
    address = models.GenericIPAddressField(null=True)
    device = models.CharField(max_length=200, blank=True)
    succeeded = models.BooleanField()
    session_key = models.CharField(max_length=40, blank=True)

    class Meta:
        indexes = [
            models.Index(fields=["name_digest", "at"]),
            models.Index(fields=["address", "at"]),
            models.Index(fields=["user", "at"]),
        ]

    def __str__(self) -> str:
        return f"{self.user or 'unknown name'} at {habits.short_moment(self.at)}"
