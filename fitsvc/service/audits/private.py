"""Whose audit it is: off the loopback address an audit is its maker's, and whoever administers sees all."""

from fitsvc.service.audits.folder import AuditFolder
from fitsvc.service.context import AnyRequest, service_of
from fitsvc.service.keys import holder
from fitsvc.store.errors import NotFound


def audit_of(request: AnyRequest, key: str) -> AuditFolder:
    """Return an audit that the caller may see, or raise NotFound: that there is another one is not told either."""
    folder = service_of(request).audits.get(key)
    if not may_see(request, folder):
        raise NotFound("audit", key)
    return folder


def may_see(request: AnyRequest, folder: AuditFolder) -> bool:
    """Tell whether a caller may see an audit."""
    if "audit" in service_of(request).public:
        return True
    caller = holder(request)
    return caller is not None and (caller.administers or folder.told().get("created_by") == caller.name)
