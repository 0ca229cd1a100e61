"""API addresses below /api/v1/."""

urlpatterns = []
