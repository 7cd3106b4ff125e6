"""Headers that keep strangers' content out of our pages."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase

# Everything comes from this site. Styles and scripts are files, never inline.
POLICY = (
    "default-src 'self'; img-src 'self' data:; worker-src 'self'; manifest-src 'self'; "
    "object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
# The camera reads labels; nothing else of the telephone is asked for.
DEVICES = "camera=(self), microphone=(), geolocation=()"


def content_security_policy(
    get_response: Callable[[HttpRequest], HttpResponseBase],
) -> Callable[[HttpRequest], HttpResponseBase]:
    """Add the content security policy to every page (HTML only: PDF viewers stumble over it)."""

    def middleware(request: HttpRequest) -> HttpResponseBase:
        response = get_response(request)
        if response.headers.get("Content-Type", "").startswith("text/html"):
            response.headers["Content-Security-Policy"] = POLICY
            response.headers["Permissions-Policy"] = DEVICES
        return response

    return middleware
