from django.apps import AppConfig
from django.utils.translation import gettext, ngettext

from shared import words


class SharedConfig(AppConfig):
    name = "shared"

    def ready(self):
        words.speak_through(gettext, ngettext)
