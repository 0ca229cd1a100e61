"""Whether the app and its database answer, and which record they answer from."""

from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view, authentication_classes
from rest_framework.response import Response

from travelers.pulse import pulse_epoch


class Health(serializers.Serializer):
    status = serializers.CharField(help_text="ok")
    epoch = serializers.CharField(
        help_text="Changes when a backup is restored: tablets then send again all they keep."
    )


@extend_schema(operation_id="health", responses={200: OpenApiResponse(Health)}, auth=[])
@api_view(["GET"])
@authentication_classes([])
def health(request):
    """Answers without sign-in, whatever key comes with the request."""
    return Response({"status": "ok", "epoch": pulse_epoch()}, headers={"Cache-Control": "no-store"})
