"""For addresses that answer with a file: whatever the client says it would like, the file is what there is."""

from typing import Any

from rest_framework.negotiation import DefaultContentNegotiation


class FilesAsTheyAre(DefaultContentNegotiation):
    """Never 406: errors are problem documents, everything else is the file in its one form."""

    def select_renderer(self, request: Any, renderers: Any, format_suffix: Any = None) -> Any:
        return renderers[0], renderers[0].media_type
