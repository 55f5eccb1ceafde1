"""Verifying a bag: every file read once, every problem named with its file.

The steps are RFC 8493's (section 3; from memory): complete, then valid. Beyond them: the tag manifests and
the zip's own bytes must be as this program writes them where it wrote the bag, the signature must hold,
and the survey file must agree with the photos.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Final

from corrosion.archive.consistency import record_problems
from corrosion.archive.manifest import (
    AGENT,
    ALGORITHMS,
    BAGIT_TXT,
    FETCH_TXT,
    HEX_DIGITS,
    INFO_TXT,
    PAYLOAD,
    VERSIONS,
    Digests,
    Manifest,
    is_manifest,
    read_info,
    read_manifest,
    write_manifest,
)
from corrosion.archive.paths import fault_of
from corrosion.archive.problems import BagProblem, BagReport, BagSignature
from corrosion.archive.sign import (
    FOLDER,
    PUBLIC_KEY,
    SIGNATURE_BYTES,
    fingerprint,
    holds,
    public_key,
    signature_path,
)
from corrosion.archive.source import DEFAULT_LIMITS, BagLimits, BagSource, open_source
from corrosion.errors import ArchiveError

Progress = Callable[[str, int, int], None]

RECORD_TOO_LARGE: Final = 64 * 1024**2
_DECLARED = re.compile(r"BagIt-Version: (\d+\.\d+)\n(?:Tag-File-Character-Encoding: ([\w-]+))\n?")


def verify_bag(
    path: Path,
    *,
    trusted: Iterable[bytes] = (),
    limits: BagLimits = DEFAULT_LIMITS,
    progress: Progress | None = None,
) -> BagReport:
    """Verify a bag, a folder or a zip, without unpacking or changing it.

    Parameters
    ----------
    trusted : iterable of bytes
        Public keys (`corrosion.archive.load_trusted`) one of which must have signed the bag. Without any,
        a signature is checked, but whose key it is remains open.
    limits : BagLimits
        What the bag may cost; a file beyond is named and not read.
    progress : callable, optional
        Called with ``"verify"``, files done and their number.

    Returns
    -------
    BagReport
        Also for a bag full of problems.

    Raises
    ------
    ArchiveError
        If there is no file or folder at `path`, or it is no zip that can be listed.
    """
    with open_source(path, limits) as source:
        return verify_source(path, source, trusted=trusted, limits=limits, progress=progress)


def verify_source(
    path: Path,
    source: BagSource,
    *,
    trusted: Iterable[bytes] = (),
    limits: BagLimits = DEFAULT_LIMITS,
    progress: Progress | None = None,
) -> BagReport:
    """Verify a bag that is open already; see `verify_bag`."""
    check = _Check(source, limits)
    check.declaration()
    check.info()
    check.read_manifests()
    check.listed()
    check.checksums(progress)
    check.own_form()
    signature = check.signature(tuple(trusted))
    kinds = {problem.kind for problem in check.problems}
    complete = not kinds & {"incomplete", "refused"}
    valid = complete and "altered" not in kinds
    check.problems += record_problems(check.digests, check.record, check.notes)
    payload = [size for name, size in source.sizes.items() if name.startswith(PAYLOAD)]
    return BagReport(
        path=path,
        complete=complete,
        valid=valid,
        problems=tuple(dict.fromkeys(check.problems)),
        notes=tuple(check.notes),
        signature=signature,
        files=len(payload),
        size_bytes=sum(payload),
        info=tuple(check.fields),
    )


class _Check:
    """One verification: the steps add to `problems` and `notes`."""

    def __init__(self, source: BagSource, limits: BagLimits) -> None:
        self._source = source
        self._limits = limits
        self.problems = list(source.problems)
        self.notes = list(source.notes)
        self.fields: list[tuple[str, str]] = []
        self.digests: dict[str, str] = {}
        """SHA-256 of every payload file that could be read."""
        self._manifests: list[Manifest] = []
        self._raw: dict[str, bytes] = {}

    def _wrong(self, file: str, words: str, kind: str) -> None:
        self.problems.append(BagProblem(file, words, kind))  # type: ignore[arg-type]

    def _bytes(self, path: str, most: int) -> bytes | None:
        """Return a small file; None, with a problem, if it is missing, too large or damaged."""
        if path in self._raw:
            return self._raw[path]
        size = self._source.sizes.get(path)
        if size is None:
            self._wrong(path, "is missing", "incomplete")
            return None
        if size > most:
            self._wrong(path, f"has {size} bytes, more than {most}", "refused")
            return None
        try:
            self._raw[path] = b"".join(self._source.pieces(path))
        except ArchiveError as error:
            self._wrong(path, error.problem.rstrip("."), "altered")
            return None
        return self._raw[path]

    def _text(self, path: str) -> str | None:
        data = self._bytes(path, self._limits.max_tag_bytes)
        if data is None:
            return None
        try:
            return data.decode()
        except UnicodeDecodeError:
            self._wrong(path, "is not UTF-8 text", "altered")
            return None

    def record(self, path: str) -> bytes | None:
        """Return a payload file for a look into it; None if it is not there or not sound."""
        if path not in self.digests:
            return None
        if self._source.sizes[path] > RECORD_TOO_LARGE:
            self.notes.append(f"{path} is too large to be compared with the rest; its checksums were.")
            return None
        return self._bytes(path, RECORD_TOO_LARGE)

    @property
    def ours(self) -> bool:
        """Whether this program wrote the bag, by its own word."""
        return any(
            label == "Bag-Software-Agent" and value.startswith(AGENT) for label, value in self.fields
        )

    def declaration(self) -> None:
        """bagit.txt: version and encoding."""
        text = self._text(BAGIT_TXT)
        if text is None:
            return
        found = _DECLARED.fullmatch(text.replace("\r\n", "\n"))
        if found is None:
            self._wrong(BAGIT_TXT, "does not declare a bag in its two lines", "altered")
        elif found[1] not in VERSIONS or (found[2] or "").upper() != "UTF-8":
            read = " and ".join(VERSIONS)
            words = f"declares BagIt {found[1]} in {found[2]}; this program reads {read} in UTF-8"
            self._wrong(BAGIT_TXT, words, "refused")

    def info(self) -> None:
        """bag-info.txt, above all its Payload-Oxum; and that nothing lies elsewhere."""
        if FETCH_TXT in self._source.sizes:
            self._wrong(FETCH_TXT, "names files that lie elsewhere; they are not fetched", "refused")
        if INFO_TXT not in self._source.sizes:
            return
        text = self._text(INFO_TXT)
        if text is None:
            return
        self.fields, faults = read_info(text)
        for words in faults:
            self._wrong(INFO_TXT, words, "altered")
        payload = [size for path, size in self._source.sizes.items() if path.startswith(PAYLOAD)]
        there = f"{sum(payload)}.{len(payload)}"
        for label, value in self.fields:
            if label.lower() == "payload-oxum" and value != there:
                words = f"Payload-Oxum says {value} (bytes.files), the payload has {there}"
                self._wrong(INFO_TXT, words, "incomplete")

    def read_manifests(self) -> None:
        """Read all manifests; there must be one of the payload whose algorithm is known."""
        for name in sorted(self._source.sizes):
            text = self._text(name) if is_manifest(name) else None
            if text is None:
                continue
            manifest = read_manifest(name, text)
            for words in manifest.faults:
                self._wrong(name, words, "altered")
            if manifest.algorithm in HEX_DIGITS:
                self._manifests.append(manifest)
            else:
                self.notes.append(f"{name}: this program does not know {manifest.algorithm}; not checked.")
        if not [one for one in self._manifests if not one.of_tags]:
            self._wrong(
                "manifest-sha512.txt", "there is no payload manifest that can be checked", "incomplete"
            )

    def listed(self) -> None:
        """Everything listed is there, and every payload file is listed in every payload manifest."""
        there = set(self._source.sizes)
        known = there | {problem.file for problem in self.problems}
        payload = {path for path in there if path.startswith(PAYLOAD)}
        missing: dict[str, list[str]] = {}
        unlisted: dict[str, list[str]] = {}
        for manifest in self._manifests:
            for path in manifest.digests:
                fault = fault_of(path)
                inside = path.startswith(PAYLOAD) != manifest.of_tags
                if fault or not inside:
                    words = fault or "lies outside what it is a manifest of"
                    self._wrong(manifest.name, f"lists {path!r:.200}: the path {words}", "refused")
                elif path not in known:
                    missing.setdefault(path, []).append(manifest.name)
            for path in () if manifest.of_tags else payload - set(manifest.digests):
                unlisted.setdefault(path, []).append(manifest.name)
        for path, names in sorted(missing.items()):
            self._wrong(path, f"is missing; {' and '.join(names)} {_verb(names, 'list')} it", "incomplete")
        for path, names in sorted(unlisted.items()):
            self._wrong(path, f"is not listed in {' or '.join(names)}", "incomplete")
        self._unlisted_tags(there - payload)

    def _unlisted_tags(self, tags: set[str]) -> None:
        """Tag files no tag manifest lists: allowed, but not in a bag this program wrote."""
        listings = [one for one in self._manifests if one.of_tags]
        tags -= {one.name for one in listings} | {signature_path(one.name) for one in listings}
        unlisted = sorted(tags - set().union(*(one.digests for one in listings)))
        if not self.ours:
            if unlisted:
                self.notes.append(f"No checksum covers {', '.join(unlisted[:10])}.")
            return
        if len(listings) < len(ALGORITHMS):
            self._wrong("tagmanifest-sha512.txt", "a tag manifest is missing", "incomplete")
        for path in unlisted:
            self._wrong(path, "was added: no tag manifest lists it", "incomplete")
        for one in listings:
            for path in sorted(tags - set(one.digests) - set(unlisted)):
                self._wrong(one.name, f"was altered: it does not list {path}", "altered")

    def checksums(self, progress: Progress | None) -> None:
        """Read every file once and compare it with every manifest that lists it."""
        wanted: dict[str, list[Manifest]] = {path: [] for path in self._source.sizes}
        for manifest in self._manifests:
            for path in manifest.digests.keys() & wanted.keys():
                wanted[path].append(manifest)
        for number, (path, manifests) in enumerate(sorted(wanted.items()), start=1):
            if manifests or path.startswith(PAYLOAD):
                self._compare(path, manifests)
            if progress:
                progress("verify", number, len(wanted))

    def _compare(self, path: str, manifests: list[Manifest]) -> None:
        digests = Digests({"sha256", *(one.algorithm for one in manifests)})
        try:
            for piece in self._source.pieces(path):
                digests.update(piece)
        except ArchiveError as error:
            self._wrong(path, error.problem.rstrip("."), "altered")
            return
        found = digests.hexdigests()
        wrong = [one for one in manifests if one.digests[path] != found[one.algorithm]]
        right = [one.name for one in manifests if one not in wrong]
        if path.startswith(PAYLOAD):
            self.digests[path] = found["sha256"]
        names = " and ".join(one.name for one in wrong)
        if wrong and right:
            words = f"agrees with {' and '.join(right)} but not with {names}, which was altered"
            self._wrong(path, words, "altered")
        elif wrong:
            self._wrong(path, f"was altered: its checksum is not the one in {names}", "altered")

    def own_form(self) -> None:
        """Every byte that no checksum covers, in a bag this program wrote."""
        if not self.ours:
            return
        for manifest in self._manifests:
            # Nothing covers a tag manifest but a signature: it must be exactly what would be written.
            if manifest.of_tags and self._raw.get(manifest.name) != write_manifest(manifest.digests):
                self._wrong(manifest.name, "was altered: this program writes it otherwise", "altered")
        before = len(self._source.notes)
        self.problems += self._source.strange_parts()
        self.notes += self._source.notes[before:]

    def signature(self, trusted: tuple[bytes, ...]) -> BagSignature:
        """Check the signatures of the tag manifests, and whose key they are by."""
        listings = [one.name for one in self._manifests if one.of_tags]
        there = [path for path in self._source.sizes if path.startswith(FOLDER)]
        if not there and not any(PUBLIC_KEY in one.digests for one in self._manifests):
            if trusted:
                self._wrong(self._source.name, "is not signed, but a trusted key was named", "signature")
            return BagSignature("none")
        pem = self._bytes(PUBLIC_KEY, self._limits.max_tag_bytes)
        key = None if pem is None else public_key(pem)
        if key is None:
            self._wrong(PUBLIC_KEY, "is no Ed25519 public key", "signature")
            return BagSignature("broken")
        held = [self._holds(key, name) for name in listings]
        if not held or not all(held):
            return BagSignature("broken", fingerprint(key))
        if key in trusted:
            return BagSignature("trusted", fingerprint(key))
        if trusted:
            words = f"is signed with the key {fingerprint(key)}, which is not a trusted one"
            self._wrong(PUBLIC_KEY, words, "signature")
        return BagSignature("unknown", fingerprint(key))

    def _holds(self, key: bytes, manifest: str) -> bool:
        path = signature_path(manifest)
        signature = self._bytes(path, self._limits.max_tag_bytes)
        if signature is None:
            return False
        right = len(signature) == SIGNATURE_BYTES and holds(key, signature, self._raw.get(manifest, b""))
        if not right:
            self._wrong(path, f"does not hold: {manifest} or the signature was altered", "signature")
        return right


def _verb(names: list[str], verb: str) -> str:
    return verb if len(names) > 1 else f"{verb}s"
