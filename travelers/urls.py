"""Pages."""

urlpatterns = []
