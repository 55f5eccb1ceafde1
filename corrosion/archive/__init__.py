"""Archives of surveys that can be checked years later without this program: bags (BagIt, RFC 8493).

A bag is a folder or a zip with the payload below ``data/``, checksums of every file, and optionally an
Ed25519 signature over them. `write_bag` writes one whole or not at all; `verify_bag` names everything that
is wrong with one; `read_bag` opens one that is sound.
"""

from corrosion.archive.from_files import record_from_files, report_of
from corrosion.archive.payload import Original, SurveyRecord, info_of, payload_of
from corrosion.archive.problems import BagProblem, BagReport, BagSignature
from corrosion.archive.read import SurveyBag, UnsoundBagError, listed_digest, read_bag
from corrosion.archive.sign import (
    Signer,
    fingerprint,
    load_signer,
    load_trusted,
    make_key,
    needs_passphrase,
)
from corrosion.archive.source import BagLimits
from corrosion.archive.verify import verify_bag
from corrosion.archive.write import (
    BagForm,
    PayloadFile,
    WrittenBag,
    bytes_file,
    disk_file,
    software_agent,
    write_bag,
)

__all__ = [
    "BagForm",
    "BagLimits",
    "BagProblem",
    "BagReport",
    "BagSignature",
    "Original",
    "PayloadFile",
    "Signer",
    "SurveyBag",
    "SurveyRecord",
    "UnsoundBagError",
    "WrittenBag",
    "bytes_file",
    "disk_file",
    "fingerprint",
    "info_of",
    "listed_digest",
    "load_signer",
    "load_trusted",
    "make_key",
    "needs_passphrase",
    "payload_of",
    "read_bag",
    "record_from_files",
    "report_of",
    "software_agent",
    "verify_bag",
    "write_bag",
]
