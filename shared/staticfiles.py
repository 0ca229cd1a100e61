"""Static files with the content's hash in their names, compressed, imports between scripts rewritten too."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class Storage(CompressedManifestStaticFilesStorage):
    """Where nothing was collected (tests, development) files keep their plain names and are served from source."""

    support_js_module_import_aggregation = True

    def stored_name(self, name):
        return super().stored_name(name) if self.hashed_files else name
