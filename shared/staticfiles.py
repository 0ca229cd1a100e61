"""Static files with the content's hash in their names, compressed, imports between scripts rewritten too."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class Storage(CompressedManifestStaticFilesStorage):
    """A file that the manifest does not know keeps its plain name (tests and development serve from source)."""

    manifest_strict = False
    support_js_module_import_aggregation = True
