"""Settings of the site; the environment is read in one block and nowhere else."""

import os
from pathlib import Path

import dj_database_url

from farm.secret_key import kept_secret_key

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = BASE_DIR / ".data"

# --- The environment. Every default is safe on a machine that faces the internet. ---
DEBUG = os.environ.get("FARM_DEBUG") == "1"
SERVED_BY_HTTPS = os.environ.get("FARM_HTTPS") == "1"
ALLOWED_HOSTS = os.environ.get("FARM_HOSTS", "127.0.0.1,localhost,[::1]").split(",")
# Names lots and places in what is exported; the farm's own domain.
FARM_ADDRESS = os.environ.get("FARM_ADDRESS", "https://farm.example")
SECRET_KEY = os.environ.get("FARM_SECRET_KEY") or kept_secret_key(DATA_DIR / "secret-key")
DATABASE_URL = os.environ.get("DATABASE_URL") or f"sqlite:///{DATA_DIR / 'farm.sqlite3'}"
# --- End of the environment. ---

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",  # its templates, which the site's own field template falls back on
    "django_tables2",
    "django_filters",
    "ledger",
    "farm",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    # A month's tables are a quarter of their size on a weak signal. Tokens in a page are masked
    # anew each time and the middleware pads what it sends, so that its length tells no secret.
    "django.middleware.gzip.GZipMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "farm.pages.site.security.content_security_policy",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

ROOT_URLCONF = "farm.urls"
WSGI_APPLICATION = "farm.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.messages.context_processors.messages",
                "farm.pages.frame.frame",
            ],
        },
    },
]

FORM_RENDERER = "farm.pages.form_renderer.SiteFormRenderer"

DATABASES = {"default": dj_database_url.parse(DATABASE_URL, conn_health_checks=True)}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATA_DIR.mkdir(mode=0o700, exist_ok=True)
    # A writer takes the lock when its transaction begins, so that it waits for
    # its turn instead of failing half-way.
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL;PRAGMA synchronous=NORMAL;PRAGMA foreign_keys=ON;",
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTHENTICATION_BACKENDS = ["farm.pages.access.SignedIn"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 10},
    },
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign-in"

LANGUAGE_CODE = "en"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"  # pages show the farm's own time zone; see farm/pages/access.py

# Static files come straight from the source folders: no second server, nothing to collect.
STATIC_URL = "static/"
WHITENOISE_USE_FINDERS = True

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SERVED_BY_HTTPS
SECURE_SSL_REDIRECT = SERVED_BY_HTTPS
SECURE_HSTS_SECONDS = 31_536_000 if SERVED_BY_HTTPS else 0
# Whether the farm's other sites under the same name keep to https is not for this one to say.
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if SERVED_BY_HTTPS else None
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
CSRF_TRUSTED_ORIGINS = (
    [f"https://{host}" for host in ALLOWED_HOSTS if "*" not in host] if SERVED_BY_HTTPS else []
)

DJANGO_TABLES2_TEMPLATE = "farm/parts/_table.html"
