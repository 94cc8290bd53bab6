"""All settings, read from the environment; without any, an embedded installation for this machine alone.

Every variable is listed with its meaning in `.env.example`.
"""

from email.utils import parseaddr
from pathlib import Path
from typing import Any

import environ
from csp.constants import NONE, SELF

from fleetcare.config.description import ENUM_NAMES
from fleetcare.config.logs import logging_of
from fleetcare.config.secret import long_enough, secret_key

BASE_DIR = Path(__file__).resolve().parents[2]
env = environ.Env()

DATA_DIR = Path(env.str("FLEETCARE_DATA", default=str(BASE_DIR / "var")))
DATA_DIR.mkdir(parents=True, exist_ok=True)
DEBUG = env.bool("DEBUG", default=False)
ALLOWED_HOSTS: list[str] = env.list("ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
SECRET_KEY = secret_key(env.str("SECRET_KEY", default=""), ALLOWED_HOSTS, DATA_DIR)
SECRET_KEY_FALLBACKS: list[str] = env.list("SECRET_KEY_FALLBACKS", default=[])
HTTPS = env.bool("HTTPS", default=False)

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "fleetcare.fleet",
    "inspections",
    "scheduling",
    "fleetcare.portal",
    # After the portal, whose templates stand in for theirs.
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
]

MIDDLEWARE = [
    "fleetcare.support.requests.RequestIdMiddleware",
    "fleetcare.support.doing.DoingMiddleware",
    "fleetcare.support.logs.RequestLogMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "fleetcare.support.requests.AddressLimitMiddleware",
    "fleetcare.support.requests.BodyLimitMiddleware",
    "fleetcare.support.conditional.ValidatorMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "fleetcare.portal.web.preferences.ReaderMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "fleetcare.support.requests.PrivateByDefaultMiddleware",
]

ROOT_URLCONF = "fleetcare.config.urls"
WSGI_APPLICATION = "fleetcare.config.wsgi.application"
TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.messages.context_processors.messages",
            ]
        },
    }
]


def _database(url: str) -> dict[str, Any]:
    config: dict[str, Any] = env.db_url_config(url)
    if config["ENGINE"].endswith("sqlite3"):
        # Immediate transactions: a reader that turns writer would otherwise fail at once instead of waiting.
        pragmas = "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;"
        config["OPTIONS"] = {"transaction_mode": "IMMEDIATE", "timeout": 20, "init_command": pragmas}
        # Opening the file anew takes longer than most requests.
        config["CONN_MAX_AGE"] = 60
    else:
        config |= {"CONN_MAX_AGE": 60, "CONN_HEALTH_CHECKS": True}
        # A server that does not answer is told of in seconds, not in minutes.
        config["OPTIONS"] = {"connect_timeout": 3, **config.get("OPTIONS", {})}
    return config


DATABASES = {"default": _database(env.str("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'fleetcare.sqlite3'}"))}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "fleet.User"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 8}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"

# Signing in. Owners invite; where anybody may sign up, an address counts only once its mail was answered.
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
OPEN_SIGN_UP = env.bool("FLEETCARE_OPEN_SIGN_UP", default=False)
ACCOUNT_ADAPTER = "fleetcare.portal.web.account_adapter.AccountAdapter"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "mandatory" if OPEN_SIGN_UP else "none"
ACCOUNT_CHANGE_EMAIL = True
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_REAUTHENTICATION_REQUIRED = True
ACCOUNT_SESSION_REMEMBER = True
# Wrong passwords: per address of the caller and account together, so that a stranger locks nobody out elsewhere.
ACCOUNT_RATE_LIMITS = {"login_failed": "30/5m/ip,8/5m/key"}
MFA_SUPPORTED_TYPES = ["webauthn", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_ALLOW_UNVERIFIED_EMAIL = not OPEN_SIGN_UP
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not HTTPS
MFA_RECOVERY_CODES_SHOW_ONCE = True
BEHIND_PROXY = env.bool("BEHIND_PROXY", default=False)
ALLAUTH_TRUSTED_PROXY_COUNT = 1 if BEHIND_PROXY else 0

# Counted together by all processes: in Redis where the broker is one, else in files.
_BROKER = env.str("BROKER_URL", default="filesystem://")
_CACHE = _BROKER if _BROKER.startswith("redis") else f"filecache://{DATA_DIR / 'cache'}?max_entries=10000"
CACHES = {"default": env.cache_url("CACHE_URL", default=_CACHE) | {"KEY_PREFIX": "fleetcare"}}
# Requests are counted where counting is one step: in Redis, else by each web process for itself.
_LOCAL = {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "OPTIONS": {"MAX_ENTRIES": 100_000}}
_QUICK = {"OPTIONS": {"socket_timeout": 0.25, "socket_connect_timeout": 0.25}}
CACHES["limits"] = CACHES["default"] | _QUICK if CACHES["default"]["BACKEND"].endswith("RedisCache") else _LOCAL
REQUESTS_PER_MINUTE = {
    "key": env.int("REQUESTS_PER_MINUTE_OF_KEY", default=1_200),
    "fleet": env.int("REQUESTS_PER_MINUTE_OF_FLEET", default=3_600),
    "address": env.int("REQUESTS_PER_MINUTE_OF_ADDRESS", default=3_600),
    "costly": env.int("COSTLY_REQUESTS_PER_MINUTE", default=60),
}
TOO_MANY_VIEW = "fleetcare.portal.web.errors.too_many"

LANGUAGE_CODE = "en"
# Those of one language differ in how they write days and numbers.
LANGUAGES = [
    ("en", "English"), ("en-gb", "English (United Kingdom)"), ("de", "Deutsch"), ("de-at", "Deutsch (Österreich)"),
    ("de-ch", "Deutsch (Schweiz)"),
]  # fmt: skip
LANGUAGE_COOKIE_NAME = "language"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

STATIC_URL = "static/"
STATIC_ROOT = Path(env.str("STATIC_ROOT", default="") or DATA_DIR / "static")
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
STATICFILES_DIRS: list[str] = []
# Hashed names once the files were collected; from a plain clone the files are found in the source.
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if (STATIC_ROOT / "staticfiles.json").exists()
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = not (STATIC_ROOT / "staticfiles.json").exists()
MEDIA_ROOT = DATA_DIR / "media"

# Where mail goes; without a mail server each mail is written into a file, to be looked at.
if env.str("EMAIL_URL", default=""):
    globals().update(env.email_url("EMAIL_URL"))
else:
    EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    EMAIL_FILE_PATH = str(DATA_DIR / "mail")
EMAIL_TIMEOUT = 10
DEFAULT_FROM_EMAIL = env.str("MAIL_FROM", default="fleetcare <fleetcare@localhost>")
# How readers of mails and calendars reach this site.
SITE_URL = env.str("SITE_URL", default="http://localhost:8000").rstrip("/")
# Whom to tell of a hole in the security of this installation: a mailto: or https: address for security.txt.
SECURITY_CONTACT = env.str("SECURITY_CONTACT", default=f"mailto:{parseaddr(DEFAULT_FROM_EMAIL)[1]}")
# Opens /metrics to whoever sends it as a bearer token; without one there is none.
METRICS_TOKEN = long_enough("METRICS_TOKEN", env.str("METRICS_TOKEN", default=""))
# Webhooks may call http and addresses of this machine and its network; for tests and closed networks only.
WEBHOOKS_ALLOW_LOCAL = env.bool("WEBHOOKS_ALLOW_LOCAL", default=False)
# How long a worker may hold what it sends; what a dead worker held is free after it.
DELIVERY_LEASE_SECONDS = env.float("DELIVERY_LEASE_SECONDS", default=120.0)
# A run of sendings begins no other after the one, and is ended after the other: whatever hangs in it is let go before
# its lease ends, so that it never holds a second worker. One mail has half a lease.
DELIVERY_RUN_SECONDS, DELIVERY_MOST_SECONDS = DELIVERY_LEASE_SECONDS / 4, DELIVERY_LEASE_SECONDS * 3 / 4
# A mail or webhook that could have been sent so many seconds ago makes /readyz warn.
DELIVERIES_LATE_SECONDS = env.int("DELIVERIES_LATE_SECONDS", default=900)

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE_SSL_REDIRECT = HTTPS
SESSION_COOKIE_NAME = "__Host-session" if HTTPS else "session"
CSRF_COOKIE_NAME = "__Host-csrf" if HTTPS else "csrf"
CSRF_COOKIE_HTTPONLY = True
CSRF_FAILURE_VIEW = "fleetcare.portal.web.errors.forged"
CSRF_TRUSTED_ORIGINS: list[str] = env.list("CSRF_TRUSTED_ORIGINS", default=[])
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}

BODY_LIMIT_BYTES = env.int("BODY_LIMIT_BYTES", default=2 * 1024 * 1024)
_A_VEHICLE = r"^/(api/v1/)?fleets/[^/]+/vehicles/[^/]+/"
# Where files are sent: a pattern of the path, and the most bytes taken there.
LARGER_BODIES: list[tuple[str, int]] = [
    (_A_VEHICLE + r"(inspections/[^/]+/)?photos/$", 12 * 1024 * 1024),
    (r"^/(api/v1/)?fleets/[^/]+/imports/$", 21 * 1024 * 1024),
    (r"^/(api/v1/)?fleets/[^/]+/restores/$", 513 * 1024 * 1024),
]

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "fleetcare.fleet.authentication.BearerKeyAuthentication",
        "fleetcare.fleet.authentication.SignedInAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["fleetcare.support.json.FastJSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["fleetcare.support.json.StrictJSONParser"],
    "DEFAULT_PAGINATION_CLASS": "fleetcare.support.pages.CursorPages",
    "DEFAULT_SCHEMA_CLASS": "fleetcare.support.schema.ProblemSchema",
    "EXCEPTION_HANDLER": "fleetcare.support.problems.handle",
    "UNAUTHENTICATED_USER": None,
}

SPECTACULAR_SETTINGS = {
    "TITLE": "fleetcare",
    "DESCRIPTION": "Inspections in; condition, a ranked backlog and due points out. "
    "An aid, no certificate: local rules, the maker's data and a licensed technician decide.",
    "VERSION": "1.0.0",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "ENUM_NAME_OVERRIDES": ENUM_NAMES,
    "SORT_OPERATION_PARAMETERS": False,
}

# "inline": a bell is answered at once in the same process, except those for sending; "broker": it is rung for a worker.
BELL = env.str("FLEETCARE_BELL", default="inline")
QUEUE_DIR = DATA_DIR / "queue"
CELERY_BROKER_URL = env.str("BROKER_URL", default="filesystem://")
if CELERY_BROKER_URL.startswith("filesystem"):
    for folder in ("messages", "processed", "control"):
        (QUEUE_DIR / folder).mkdir(parents=True, exist_ok=True)
    CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, Any] = {
        "data_folder_in": str(QUEUE_DIR / "messages"),
        "data_folder_out": str(QUEUE_DIR / "messages"),
        "processed_folder": str(QUEUE_DIR / "processed"),
        "control_folder": str(QUEUE_DIR / "control"),
        "polling_interval": 0.1,
    }
else:
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "visibility_timeout": 900,
        "unacked_restore_interval": 5,
        "unacked_restore_throttle": 1,
        "socket_timeout": 5,
        "socket_connect_timeout": 2,
        "socket_keepalive": True,
    }
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_TIME_LIMIT = 300
CELERY_TASK_SOFT_TIME_LIMIT = 270
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TASK_PUBLISH_RETRY = False
# Workers log as the web does: masked, and in one format.
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TIMEZONE = "UTC"
CELERY_ENABLE_UTC = True
TICK_SECONDS = env.float("TICK_SECONDS", default=60.0)
CELERY_BEAT_SCHEDULE = {
    # A tick that waited for longer than the next ones take is worth nothing any more.
    "tick": {
        "task": "scheduling.tick",
        "schedule": TICK_SECONDS,
        "options": {"expires": 10 * TICK_SECONDS},
    },
    "photo-files": {"task": "inspections.sweep_photo_files", "schedule": 24 * 3600.0},
    "exchange": {"task": "portal.sweep_exchange", "schedule": 60.0},
    "erasing": {"task": "portal.erase_what_left", "schedule": 3600.0},
}
CELERY_BEAT_SCHEDULER = "fleetcare.config.beat.SteadyScheduler"
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat-schedule")

LOGGING = logging_of(env.str("LOG_LEVEL", default="INFO"), env.str("LOG_FORMAT", default="line"))
