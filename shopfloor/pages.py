"""Pages of the floor."""

urlpatterns = []
