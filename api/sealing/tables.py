"""The tables of `api.sealing`: signatures, seals, what a survey cites, and the files of archived records.

Rows are added and never changed: a signature that no longer fits its survey stays, and counts no more.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import BigInteger, ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from api.tables import Base, Document, new_id, now


class SignatureRow(Base):
    """A signature, bound by `digest` to the exact state of the survey it was given on.

    `document` holds what the person typed: the fields of `corrosion.record.facts.Signature`, less role and
    time. `by_key` and `by_name` say under which account it was given.
    """

    __tablename__ = "signatures"
    __table_args__ = (Index(None, "survey_id", "created"),)
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"))
    role: Mapped[str] = mapped_column(String(20))
    digest: Mapped[str] = mapped_column(String(64))
    created: Mapped[datetime] = mapped_column(default=now)
    by_key: Mapped[str] = mapped_column(String(64))
    by_name: Mapped[str]
    document: Mapped[Document]


class SealRow(Base):
    """A survey's seal and its frozen copy; a survey with a row here does not change any more.

    Attributes
    ----------
    digest : str
        SHA-256 of `frozen`, the survey file with the structure it was judged by and all hashes.
    state : str
        Digest that the signatures are bound to.
    structure : dict
        The frozen structure by itself, ``{"name", "units", "document"}``: pages need it without the rest.
    results : dict
        Verdicts as they were when it was sealed, and the version of the program that reached them.
    kept, kept_digest : str
        What the survey's results rest on beside its file (`api.sealing.kept`), as JSON, and its SHA-256.
    """

    __tablename__ = "seals"
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"), primary_key=True)
    at: Mapped[datetime] = mapped_column(default=now)
    by_key: Mapped[str] = mapped_column(String(64))
    by_name: Mapped[str]
    digest: Mapped[str] = mapped_column(String(64))
    state: Mapped[str] = mapped_column(String(64))
    no_decision: Mapped[str] = mapped_column(String(4000))
    structure: Mapped[Document]
    results: Mapped[Document]
    # Large: most callers only ask whether there is a seal, and the history records the digest alone.
    frozen: Mapped[str] = mapped_column(Text, deferred=True, info={"history": "digest"})
    kept: Mapped[str] = mapped_column(Text, deferred=True, info={"history": "digest"})
    kept_digest: Mapped[str] = mapped_column(String(64))


class CitationRow(Base):
    """What a survey builds on: the sealed one it ``revises``, or the one it was ``carried`` from.

    No foreign key to the cited survey: one that came in with an archive may cite what is not here.
    """

    __tablename__ = "citations"
    __table_args__ = (
        Index("uq_citations_survey_kind", "survey_id", "kind", unique=True),
        Index(None, "cited_id"),
    )
    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"))
    kind: Mapped[str] = mapped_column(String(20))
    cited_id: Mapped[str]
    cited_name: Mapped[str]
    cited_revision: Mapped[int]
    cited_digest: Mapped[str] = mapped_column(String(64))
    reason: Mapped[str] = mapped_column(String(4000))
    created: Mapped[datetime] = mapped_column(default=now)
    by_key: Mapped[str] = mapped_column(String(64))
    by_name: Mapped[str]


class RecordFileRow(Base):
    """A file of a record as it was archived; its bytes are in the picture store under `sha256`.

    With these an imported record can be archived again with the same payload, byte for byte.
    """

    __tablename__ = "record_files"
    survey_id: Mapped[str] = mapped_column(ForeignKey("surveys.id"), primary_key=True)
    path: Mapped[str] = mapped_column(String(1000), primary_key=True)
    sha256: Mapped[str] = mapped_column(String(64))
    size: Mapped[int] = mapped_column(BigInteger)
