"""One settings file, read from the environment. Every name it reads is listed in DEVELOPERS.md."""

import os
import secrets
from pathlib import Path

import environ

from shared.words import LANGUAGES as OPERATOR_LANGUAGES

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

DATA_DIR = Path(env("SHOPFLOOR_DATA", default=str(BASE_DIR / "data"))).resolve()
DEBUG = env.bool("SHOPFLOOR_DEBUG", default=False)
ALLOWED_HOSTS = env.list("SHOPFLOOR_HOSTS", default=["*"])
CSRF_TRUSTED_ORIGINS = env.list("SHOPFLOOR_TRUSTED_ORIGINS", default=[])
BEHIND_HTTPS = env.bool("SHOPFLOOR_HTTPS", default=False)


def secret_key() -> str:
    """From the environment, or a random one kept beside the data, readable by its owner alone."""
    given = env("SHOPFLOOR_SECRET_KEY", default="")
    if given:
        return given
    DATA_DIR.mkdir(parents=True, exist_ok=True)
    path = DATA_DIR / "secret_key"
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text().strip()
    with os.fdopen(handle, "w") as file:
        file.write(secrets.token_urlsafe(50))
    return path.read_text().strip()


SECRET_KEY = secret_key()

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "shared",
    "fittings",
    "travelers",
    "shopfloor",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "shared.middleware.content_policy",
    "shared.middleware.body_limit",
    "shared.middleware.problems",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "shopfloor.keys.actor_middleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

ROOT_URLCONF = "shopfloor.urls"
WSGI_APPLICATION = "shopfloor.wsgi.application"
AUTH_USER_MODEL = "shopfloor.Person"
LOGIN_URL = "sign_in"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "shopfloor.context.page",
            ],
        },
    },
]

DATABASE_URL = env("DATABASE_URL", default="")
if DATABASE_URL:
    DATABASES = {"default": env.db_url_config(DATABASE_URL)}
    DATABASES["default"].update(
        CONN_MAX_AGE=0,
        OPTIONS={
            "pool": {"min_size": 1, "max_size": env.int("SHOPFLOOR_POOL", default=20), "timeout": 5},
            "server_side_binding": True,
            "prepare_threshold": 3,
            # every question here is a short one: starting workers for it costs more, and takes cores from the scans
            "options": "-c lock_timeout=5s -c max_parallel_workers_per_gather=0",
        },
    )
else:
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": DATA_DIR / "shop.sqlite3",
            "CONN_MAX_AGE": None,
            "OPTIONS": {
                "transaction_mode": "IMMEDIATE",
                "timeout": 5,
                "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA cache_size=-32000;",
            },
            "TEST": {"NAME": DATA_DIR / "test.sqlite3"},
        }
    }
IS_SQLITE = DATABASES["default"]["ENGINE"].endswith("sqlite3")
if IS_SQLITE:
    DATA_DIR.mkdir(parents=True, exist_ok=True)

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

USE_TZ = True
TIME_ZONE = env("SHOPFLOOR_TIME_ZONE", default="America/Chicago")
LANGUAGE_CODE = "en-us"
LANGUAGES = list(OPERATOR_LANGUAGES)
USE_I18N = True

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STORAGES = {
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": DATA_DIR / "files"},
    },
    "staticfiles": {"BACKEND": "shared.staticfiles.Storage"},
}
WHITENOISE_USE_FINDERS = env.bool("SHOPFLOOR_STATIC_FROM_SOURCE", default=False)
STATIC_ROOT.mkdir(parents=True, exist_ok=True)

SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_AGE = 14 * 24 * 3600
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = BEHIND_HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_HTTPS else None
SECURE_SSL_REDIRECT = BEHIND_HTTPS
SECURE_REDIRECT_EXEMPT = [r"^api/v1/health/$"]
SECURE_HSTS_SECONDS = 30 * 24 * 3600 if BEHIND_HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = BEHIND_HTTPS
SILENCED_SYSTEM_CHECKS = ["security.W021"]  # a list of all browsers is no place for a shop's own host
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin" if BEHIND_HTTPS else None
CSRF_FAILURE_VIEW = "shared.views.csrf_failure"
X_FRAME_OPTIONS = "DENY"

WEBHOOKS_PRIVATE = env.bool("SHOPFLOOR_WEBHOOKS_PRIVATE", default=False)

LONGEST_JSON_BODY = 2 * 1024 * 1024
LONGEST_BODY = DATA_UPLOAD_MAX_MEMORY_SIZE = 6 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 20_000

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["shopfloor.keys.KeyOrSession"],
    "DEFAULT_PERMISSION_CLASSES": [],
    "DEFAULT_RENDERER_CLASSES": ["shared.api.Renderer"],
    "DEFAULT_PARSER_CLASSES": ["shared.api.Parser"],
    "DEFAULT_PAGINATION_CLASS": "shared.api.Pages",
    "PAGE_SIZE": 50,
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "shared.api.answer_exception",
    "URL_FORMAT_OVERRIDE": None,
    "UNAUTHENTICATED_USER": None,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Round fittings shop",
    "DESCRIPTION": "Everything a screen can do, a program can do. Lengths in inches unless the body says mm.",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": [],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_SETTINGS": {"deepLinking": False},  # a link inside a button is none for a screen reader
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "SORT_OPERATIONS": False,
    "ENUM_NAME_OVERRIDES": {
        "StockFormEnum": "fittings.models.StockItem.Form",
        "CutPlanStateEnum": "fittings.models.CutPlan.State",
        "OrderStateEnum": "fittings.models.Order.State",
        "JobStateEnum": "shared.models.Job.State",
        "TurnsEnum": "fittings.cutting.work.TURNS",
    },
}

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "%(asctime)s %(levelname)s %(name)s: %(message)s"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": env("SHOPFLOOR_LOG", default="WARNING")},
}
