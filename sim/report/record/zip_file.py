"""A record as one ZIP file: unpacked, it is the folder that ``record_folder`` reads."""

from __future__ import annotations

import io
import zipfile

from sim.fingerprint import compute_version
from sim.report.record.contents import CONTENTS, Record, build_contents


def zip_record(record: Record) -> bytes:
    """Its files and the list of them; the same record gives the same bytes.  InputError as in ``build_contents``."""
    listed = build_contents(record, compute_version("shop record")).text.encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as folder:
        for name, data in {CONTENTS: listed, **{n: f.data for n, f in sorted(record.files.items())}}.items():
            folder.writestr(zipfile.ZipInfo(name), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()
