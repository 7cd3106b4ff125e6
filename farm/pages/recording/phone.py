"""What a telephone needs to work without a signal: its worker, what it may keep, what waits on it.

The pages themselves work without any of it. What is kept is the look, the forms of this person's
own work with the lots they offered at the last visit, and forms that were not sent yet. Pages
that show money or people carry no `KEEP` header, and the worker keeps nothing without it.
"""

from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache

from farm.models.people.people import Farm, the_farm
from farm.pages.access import PageRequest, Right, farm_for, page, person_of
from farm.pages.frame import show
from farm.pages.kept_pages import KeptForm, kept_forms, may_be_kept, sent_to, wall_pages

FILES = Path(__file__).resolve().parents[2] / "static" / "farm"
WORKER = "worker.js"
# Pictures that explain are not needed to enter anything.
SHELL_ENDS = (".css", ".js", ".svg")


@dataclass(frozen=True)
class NotSentPage:
    """``forms``: what this person may fill in without a signal."""

    forms: list[KeptForm]


@page(Right.READ)
def not_sent(request: PageRequest) -> HttpResponse:
    """Show what waits on this telephone; a script fills it in, from the telephone alone."""
    forms = [form for form in kept_forms(request.person, request.farm) if form.is_first]
    return may_be_kept(show(request, "farm/phone/not_sent.html", NotSentPage(forms)))


@never_cache
@login_not_required
def phone_now(request: HttpRequest) -> JsonResponse:
    """Tell a telephone who is signed in, a fresh token to send with, and what to keep."""
    if not request.user.is_authenticated:
        return JsonResponse({"signed_out": True}, status=401)
    person = person_of(request)
    with timezone.override(the_farm().zone):
        pages = [form.address for form in kept_forms(person, farm_for(person))]
        pages += wall_pages(person)
    return JsonResponse(
        {
            "person": person.pk,
            "who": person.initials,
            "token": get_token(request),
            "pages": [reverse("not-sent"), *pages],
            "sent_to": sent_to(person),
        }
    )


@never_cache
@login_not_required
def worker(request: HttpRequest) -> HttpResponse:
    """Serve the worker from the root, so that it looks after every page; it names its version."""
    files = shell_files()
    names = {
        "shell": [static(f"farm/{name}") for name in files],
        "queue": static("farm/queue.js"),
        "version": version_of(files),
        "not_sent": reverse("not-sent"),
        "now": reverse("phone-now"),
        "sign_out": reverse("sign-out"),
    }
    said = JsonResponse(names).content.decode()
    script = (FILES / WORKER).read_text(encoding="utf-8")
    return HttpResponse(f"const SITE = {said};\n{script}", content_type="text/javascript")


@login_not_required
def manifest(request: HttpRequest) -> JsonResponse:
    """Say how the site is put on a telephone's first screen, also before the farm has a name."""
    farm = Farm.objects.first()
    said = {
        "name": f"{farm.name} ledger" if farm else "Ledger",
        "short_name": "Ledger",
        "start_url": reverse("today"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#fbf9f2",
        "theme_color": "#1d4f6e",
        "icons": [
            {"src": static("farm/icon.svg"), "sizes": "any", "type": "image/svg+xml"},
            {"src": static("farm/icon-192.png"), "sizes": "192x192", "type": "image/png"},
            {"src": static("farm/icon-512.png"), "sizes": "512x512", "type": "image/png"},
        ],
    }
    return JsonResponse(said, content_type="application/manifest+json")


def shell_files() -> list[str]:
    """Name the files of the look and the scripts, without the worker itself."""
    names = [path.name for path in FILES.iterdir() if path.suffix in SHELL_ENDS]
    return sorted(name for name in names if name != WORKER)


def version_of(names: list[str]) -> str:
    """Work out a version from what the files hold; while developing, anew each time."""
    return _version.__wrapped__(tuple(names)) if settings.DEBUG else _version(tuple(names))


@cache
def _version(names: tuple[str, ...]) -> str:
    digest = sha256()
    for name in (*names, WORKER):
        digest.update((FILES / name).read_bytes())
    return digest.hexdigest()[:12]
