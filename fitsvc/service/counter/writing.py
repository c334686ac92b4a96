"""What a page may write: a form sent with a key typed into it, since nothing that a browser sends by itself is one."""

from dataclasses import dataclass
from typing import Final

from anyio import to_thread

from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.keys import holder_of
from fitsvc.tongues import later, t

KEY: Final = "key"
"""The field of a form that has the key; it is sent back in no page."""
_NO_KEY: Final = later("type a key that may do this; whoever looks after the service makes one: fitsvc key create NAME")
_WRONG_KEY: Final = later(
    "that key is unknown, or may not do this; whoever looks after the service makes one: fitsvc key create NAME"
)


@dataclass(frozen=True, slots=True)
class FormSent:
    """A form's fields without its key, the name that the key goes by, and else what is wrong with the key.

    `edits` says that the key may make and change records too.
    """

    fields: dict[str, str]
    by: str
    refused: str = ""
    edits: bool = False

    @property
    def status(self) -> int:
        """The status of a page that tells what is wrong with the key, or of one that does not need to."""
        return 401 if self.refused else 200


async def sent(request: AnyRequest, scope: str = "record") -> FormSent:
    """Read the form that a page sent, and whose key it came with: one that may do what the form is for."""
    form = {name: value for name, value in (await request.form()).multi_items() if isinstance(value, str)}
    given = form.pop(KEY, "").strip()
    fields = {name: text.strip() for name, text in form.items() if text.strip()}
    if not given:
        return FormSent(fields, "", t(_NO_KEY))
    by = await to_thread.run_sync(holder_of, service_of(request), given, scope)
    edits = by is not None and await to_thread.run_sync(holder_of, service_of(request), given, "edit") is not None
    return FormSent(fields, by or "", "" if by else t(_WRONG_KEY), edits)
