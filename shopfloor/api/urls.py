"""API addresses of the floor, below /api/v1/."""

urlpatterns = []
