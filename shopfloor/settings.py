"""One settings file, read from the environment. Every name it reads is listed in DEVELOPERS.md."""

from pathlib import Path

import environ

from shared.words import LANGUAGES as OPERATOR_LANGUAGES
from shopfloor import environment

BASE_DIR = Path(__file__).resolve().parent.parent

DATA_DIR = environment.folder(
    "SHOPFLOOR_DATA", Path(environment.text("SHOPFLOOR_DATA", str(BASE_DIR / "data"))).resolve()
)
DEBUG = environment.switch("SHOPFLOOR_DEBUG")
ALLOWED_HOSTS = environment.listed("SHOPFLOOR_HOSTS", ("*",))
CSRF_TRUSTED_ORIGINS = environment.listed("SHOPFLOOR_TRUSTED_ORIGINS")
BEHIND_HTTPS = environment.switch("SHOPFLOOR_HTTPS")
SECRET_KEY = environment.secret("SHOPFLOOR_SECRET_KEY", DATA_DIR / "secret_key")

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

POSTGRESQL = environment.postgresql_address("DATABASE_URL")
if POSTGRESQL:
    DATABASES = {"default": environ.Env.db_url_config(POSTGRESQL)}
    POSTGRESQL_OPTIONS = DATABASES["default"].get("OPTIONS", {})  # as ?sslmode=require
    DATABASES["default"].update(
        CONN_MAX_AGE=0,
        OPTIONS=POSTGRESQL_OPTIONS
        | {
            "pool": {
                "min_size": 1,
                "max_size": environment.whole("SHOPFLOOR_POOL", 20, most=500),
                "timeout": 5,
            },
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
IS_SQLITE = not POSTGRESQL

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]

USE_TZ = True
TIME_ZONE = environment.time_zone("SHOPFLOOR_TIME_ZONE", "America/Chicago")
LANGUAGE_CODE = "en-us"
LANGUAGES = list(OPERATOR_LANGUAGES)
USE_I18N = True

STATIC_URL = "/static/"
STATIC_ROOT = environment.folder("SHOPFLOOR_DATA", DATA_DIR / "static")
STORAGES = {
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": DATA_DIR / "files"},
    },
    "staticfiles": {"BACKEND": "shared.staticfiles.Storage"},
}
WHITENOISE_USE_FINDERS = environment.switch("SHOPFLOOR_STATIC_FROM_SOURCE")

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

MOST_STREAMS = environment.whole("SHOPFLOOR_STREAMS", 400, least=0, most=100_000)
WEBHOOKS_PRIVATE = environment.switch("SHOPFLOOR_WEBHOOKS_PRIVATE")

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
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "shopfloor.api.schema.say_to_all",
    ],
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
    "root": {"handlers": ["console"], "level": environment.log_level("SHOPFLOOR_LOG").upper()},
}
