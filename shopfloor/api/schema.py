"""How keys and sessions appear in the OpenAPI schema."""

from drf_spectacular.extensions import OpenApiAuthenticationExtension


class KeyOrSessionScheme(OpenApiAuthenticationExtension):
    target_class = "shopfloor.keys.KeyOrSession"
    name = ["key", "session"]

    def get_security_definition(self, auto_schema):
        key = {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "`Token <key>`: a key of a person, a station's tablet or a display.",
        }
        session = {
            "type": "apiKey",
            "in": "cookie",
            "name": "sessionid",
            "description": "With the CSRF token.",
        }
        return [key, session]

    def get_security_requirement(self, auto_schema):
        return [{"key": []}, {"session": []}]  # either of them
