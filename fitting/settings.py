"""Django settings: one file, read from the environment; production refuses to start half configured."""

import os
from importlib.util import find_spec
from pathlib import Path

import dj_database_url
from csp.constants import NONCE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = Path(os.environ.get("DOORPOST_DATA", BASE_DIR / ".data"))
DATA_DIR.mkdir(parents=True, exist_ok=True)

DEBUG = os.environ.get("DOORPOST_DEBUG", "") == "1"


def required(name: str, what: str) -> str:
    """Value of an environment variable that production cannot do without."""
    value = os.environ.get(name, "")
    if not value and not DEBUG:
        raise ImproperlyConfigured(f"Set {name} to {what}, or set DOORPOST_DEBUG=1 on a machine of your own.")
    return value


SECRET_KEY = required("DOORPOST_SECRET_KEY", "a long random text that only this installation knows") or (
    "for-trying-out-on-ones-own-machine-only"
)
ALLOWED_HOSTS = [
    host
    for host in required("DOORPOST_HOSTS", "the host names that serve Doorpost, separated by commas").split(",")
    if host
] or ["127.0.0.1", "localhost", "[::1]", "testserver"]
CSRF_TRUSTED_ORIGINS = [] if DEBUG else [f"https://{host}" for host in ALLOWED_HOSTS]

INSTALLED_APPS = [
    "fitting.apps.FittingConfig",
    "patients.apps.PatientsConfig",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.forms",
    "crispy_forms",
    "crispy_bootstrap5",
    "django_htmx",
    "csp",
    "auditlog",
    "django_tasks",
    "django_tasks_db",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "auditlog.middleware.AuditlogMiddleware",
]
ROOT_URLCONF = "fitting.urls"
WSGI_APPLICATION = "fitting.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "patients.access.may",
            ]
        },
    }
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"
CRISPY_ALLOWED_TEMPLATE_PACKS = CRISPY_TEMPLATE_PACK = "bootstrap5"

DATABASES = {"default": dj_database_url.config(default=f"sqlite:///{DATA_DIR / 'doorpost.sqlite3'}", conn_max_age=60)}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    # Writers queue for the file instead of failing: immediate transactions, a write-ahead log and a patient timeout.
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL;PRAGMA synchronous=NORMAL;PRAGMA busy_timeout=20000;",
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "patients.Staff"
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in ("UserAttributeSimilarityValidator", "MinimumLengthValidator", "CommonPasswordValidator")
]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign_in"

LANGUAGE_CODE = "en"
LANGUAGES = [("en", _("English")), ("es", _("Spanish"))]
LOCALE_PATHS = [BASE_DIR / "fitting" / "locale"]
LANGUAGE_COOKIE_AGE = 365 * 24 * 60 * 60
TIME_ZONE = "UTC"
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "static", ("bootstrap", find_spec("bootstrap").submodule_search_locations[0])]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
WHITENOISE_AUTOREFRESH = WHITENOISE_USE_FINDERS = DEBUG
WHITENOISE_SKIP_COMPRESS_EXTENSIONS = ["map", "gz", "br", "png", "jpg", "woff2"]
MEDIA_ROOT = DATA_DIR / "media"
FILE_UPLOAD_PERMISSIONS = 0o600  # files of patients: no address serves them, and no other account reads them

# Long work is left to `manage.py worker`; on a machine of one's own without a worker it is done at once.
HAS_WORKER = not DEBUG or os.environ.get("DOORPOST_WORKER", "") == "1"
TASKS = {
    "default": {
        "BACKEND": "django_tasks_db.DatabaseBackend"
        if HAS_WORKER
        else "django_tasks.backends.immediate.ImmediateBackend"
    }
}

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF, NONCE],
        "img-src": [SELF, "data:"],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "form-action": [SELF],
        "frame-ancestors": ["'none'"],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_AGE = 12 * 60 * 60
if not DEBUG:
    SECURE_SSL_REDIRECT = True
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_REDIRECT_EXEMPT = [r"^health$"]
    SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    LANGUAGE_COOKIE_SECURE = True

AUDITLOG_INCLUDE_TRACKING_MODELS = (
    {"model": "patients.Clinic"},
    {"model": "patients.Staff", "exclude_fields": ["password", "last_login"], "m2m_fields": ["clinics"]},
    {"model": "patients.RoleHeld"},
    {"model": "patients.Child"},
    {"model": "patients.Guardian"},
    {"model": "patients.Limb"},
    {"model": "fitting.ClinicSettings"},
    {"model": "fitting.Visit"},
    {"model": "fitting.Reading"},
    {"model": "fitting.PresentFit"},
    {"model": "fitting.Socket"},
    {"model": "fitting.SocketStation"},
    {"model": "fitting.Layer"},
    {"model": "fitting.Sleeve", "m2m_fields": ["sockets"]},
    {"model": "fitting.Appointment"},
    {"model": "fitting.MuscleSite"},
    {"model": "fitting.MuscleRecording", "exclude_fields": ["result", "state", "attempts", "touched_at"]},
    {"model": "fitting.LevelSettings"},
)
AUDITLOG_DISABLE_REMOTE_ADDR = False
