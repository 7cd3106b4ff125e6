"""Every address of the site, grouped by noun."""

from django.contrib.auth.views import LoginView, LogoutView
from django.urls import path

from farm.pages import style, today

# /sign-in/, /sign-out/
access = [
    path(
        "sign-in/",
        LoginView.as_view(
            template_name="farm/access/sign_in.html", redirect_authenticated_user=True
        ),
        name="sign-in",
    ),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
]

urlpatterns = [
    path("", today.today, name="today"),
    path("style/", style.style, name="style"),
    *access,
]
