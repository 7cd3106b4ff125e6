"""Signing in; one's own sign-ins, sessions and password; every sign-in, for the owner."""

from dataclasses import dataclass
from ipaddress import ip_address
from typing import Any, cast

import django_filters
import django_tables2 as tables
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm
from django.contrib.auth.models import User
from django.contrib.auth.views import LoginView
from django.core.exceptions import PermissionDenied, ValidationError
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.debug import sensitive_post_parameters

from farm.actions.people import sign_ins as action
from farm.models import SignIn
from farm.pages.access import PageRequest, Right, get_or_refuse, page
from farm.pages.addresses import number_named
from farm.pages.frame import show
from farm.pages.lists import Listing, ListTable, list_page
from farm.reports.rows import Column, Kind
from farm.templatetags.farm_format import moment
from ledger.errors import Refused

NEWEST = 30


class SignInForm(AuthenticationForm):
    """A name and a password; the try is written down before the password is looked at."""

    tried: SignIn

    def clean(self) -> dict[str, Any]:
        name = self.cleaned_data.get("username")
        if name and self.cleaned_data.get("password"):
            assert self.request is not None
            try:
                self.tried = action.begin(name, client_of(self.request), at=timezone.now())
            except Refused as refusal:
                raise ValidationError(str(refusal), code="wait") from refusal
        return super().clean()


@method_decorator(sensitive_post_parameters(), name="dispatch")
class SignInPage(LoginView):
    """The only page for strangers."""

    template_name = "farm/access/sign_in.html"
    redirect_authenticated_user = True
    form_class = SignInForm

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        assert isinstance(form, SignInForm)
        answer = super().form_valid(form)
        key = self.request.session.session_key or ""
        action.succeed(form.tried, form.get_user(), key)
        return answer


@dataclass(frozen=True)
class OwnRow:
    """``is_open``: its session still runs; ``is_here``: on this device."""

    sign_in: SignIn
    is_open: bool
    is_here: bool


@dataclass(frozen=True)
class OwnPage:
    rows: list[OwnRow]
    others: int


@dataclass(frozen=True)
class PasswordPage:
    form: PasswordChangeForm


class SignInTable(ListTable):
    at = tables.Column(verbose_name="When", attrs={"td": {"class": "day"}})
    user = tables.Column(verbose_name="Who", empty_values=())
    succeeded = tables.Column(verbose_name="Came in")
    address = tables.Column(verbose_name="From", default="")
    device = tables.Column(attrs={"th": {"class": "long"}, "td": {"class": "long"}})

    sheet = (
        (Column("Day", Kind.DATE), lambda row: timezone.localtime(row.at).date()),
        (Column("Time"), lambda row: f"{timezone.localtime(row.at):%H:%M:%S}"),
        (Column("Who"), lambda row: str(row.user or "unknown name")),
        (Column("Came in"), lambda row: "yes" if row.succeeded else "no"),
        (Column("From"), lambda row: row.address or ""),
        (Column("Device"), lambda row: row.device),
    )

    class Meta(ListTable.Meta):
        pass

    def render_at(self, record: SignIn) -> str:
        return moment(record.at)

    def render_user(self, record: SignIn) -> str:
        return str(record.user or "unknown name")

    def render_succeeded(self, value: bool) -> str:
        return "yes" if value else "no"


class SignInFilter(django_filters.FilterSet):
    user = django_filters.ModelChoiceFilter(
        queryset=User.objects.order_by("username"), label="Who", empty_label="all"
    )
    succeeded = django_filters.ChoiceFilter(
        choices=(("True", "yes"), ("False", "no")), label="Came in", empty_label="either"
    )


SIGN_INS = Listing("Sign-ins", SignInTable, SignInFilter)


@page(Right.READ)
def own_sign_ins(request: PageRequest) -> HttpResponse:
    """List one's own sign-ins, and which of their sessions are open; end one, or all others."""
    if request.method == "POST":
        return _end_sessions(request)
    user = own_user(request)
    running = set(action.live(user, at=timezone.now()).values_list("pk", flat=True))
    here = request.session.session_key
    rows = [
        OwnRow(row, row.pk in running, row.session_key == here)
        for row in SignIn.objects.filter(user=user).order_by("-at", "-pk")[:NEWEST]
    ]
    others = action.live(user, at=timezone.now()).exclude(session_key=here).count()
    return show(request, "farm/access/own.html", OwnPage(rows, others))


def _end_sessions(request: PageRequest) -> HttpResponse:
    """End the session that is named, or else every one of one's own but this."""
    own = SignIn.objects.filter(user=own_user(request))
    if "session" not in request.POST:
        return _end_others(request, own)
    pk = number_named(request.POST["session"])
    found = get_or_refuse(request, own, Right.READ, pk=pk)
    if action.end(own.filter(pk=found.pk)):
        messages.success(request, "That device is signed out.")
    else:
        messages.warning(request, "That session was over already.")
    return redirect("own-sign-ins")


def _end_others(request: PageRequest, own: QuerySet[SignIn]) -> HttpResponse:
    ended = action.end(own.exclude(session_key=request.session.session_key))
    messages.success(request, f"Signed out on {ended} other device{'s' if ended != 1 else ''}.")
    return redirect("own-sign-ins")


@sensitive_post_parameters()
@page(Right.READ)
def change_password(request: PageRequest) -> HttpResponse:
    """Give oneself a new password; every other device is signed out."""
    user = own_user(request)
    form = PasswordChangeForm(user, request.POST if request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        before = request.session.session_key or ""
        update_session_auth_hash(request, form.save())
        action.new_password(user, before=before, now=request.session.session_key or "")
        messages.success(request, "The password is changed. Every other device is signed out.")
        return redirect("own-sign-ins")
    return show(request, "farm/access/password.html", PasswordPage(form))


@page(Right.CHANGE_FARM)
def all_sign_ins(request: PageRequest) -> HttpResponse:
    """List everybody's sign-ins, and the tries that failed."""
    rows = SignIn.objects.select_related("user").order_by("-at", "-pk")
    return list_page(request, SIGN_INS, rows)


def own_user(request: PageRequest) -> User:
    """The sign-in of this device; not for who took over by PIN, who has one elsewhere."""
    if request.person.entering_under is not None:
        raise PermissionDenied(
            f"This device is signed in as {request.person.entering_under}. Give it back first."
        )
    return cast(User, request.user)


def client_of(request: HttpRequest) -> action.Client:
    """From where a request comes: behind a proxy, what the proxy itself saw (the last address)."""
    address = request.META.get("REMOTE_ADDR", "")
    if settings.SERVED_BY_HTTPS:
        address = request.META.get("HTTP_X_FORWARDED_FOR", address).rsplit(",", 1)[-1].strip()
    try:
        known = str(ip_address(address))
    except ValueError:
        known = None
    return action.Client(known, request.META.get("HTTP_USER_AGENT", ""))
