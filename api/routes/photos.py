"""Photos: upload, tags, scale, placement, marks, and the pictures themselves."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Path, Request, Response

from api import wire
from api.context import Context, ContextDep, ExpectedVersion, etag
from api.downloads import attachment, not_modified, serve_bytes
from api.errors import NotFoundError
from api.files import Derived
from api.photos import shown_upright
from api.receive import receive_photos
from api.routes import EDIT_PART, WITHDRAW, Reason, problems
from api.schemas import (
    EXAMPLE_MARKS,
    EXAMPLE_PLACEMENT,
    EXAMPLE_SCALE,
    PhotoRecord,
    PhotoTags,
    UploadReport,
)
from api.services import PhotoView
from api.tables import PhotoRow, PictureRow
from corrosion.model import Mark, Placement, Scale

router = APIRouter(tags=["photos"])
SurveyId = Annotated[str, Path(description="Identifier of the survey.")]
PhotoId = Annotated[str, Path(description="Identifier of the photo in the service.")]
TAG = {"type": "string"}
UPLOAD_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["files"],
                    "properties": {
                        "view": TAG,
                        "zone": TAG,
                        "member": TAG,
                        "face": TAG,
                        "station": TAG,
                        "lens": TAG,
                        "files": {"type": "array", "items": {"type": "string", "format": "binary"}},
                    },
                },
                "example": {"member": "SK1", "face": "inner", "files": ["IMG_0412.jpg", "IMG_0413.jpg"]},
            }
        },
    }
}
PICTURE_RESPONSES = problems(404, 410, 416, 503) | {
    200: {"description": "The bytes.", "content": {"image/jpeg": {}}},
    206: {"description": "The bytes asked for by Range."},
    304: {"description": "The client has them already."},
}


@router.post(
    "/surveys/{survey_id}/photos",
    summary="Upload photos",
    responses=problems(400, 403, 404, 409, 413, 422, 503),
    openapi_extra=UPLOAD_BODY,
)
async def upload_photos(survey_id: SurveyId, request: Request, context: ContextDep) -> UploadReport:
    """Upload many pictures in one form; text fields sent before them are tags for all.

    Each file has its own result: a refused one does not lose the others, a picture the survey already
    has is reported as a duplicate, and one that an imported photo waits for is bound to it. Originals
    are kept bit for bit. Quality warnings (blurred, dark, small) come with each result.
    """
    taken = await receive_photos(request, context, survey_id)
    return UploadReport(files=[wire.file_result(one) for one in taken])


@router.get("/surveys/{survey_id}/photos", summary="List a survey's photos", responses=problems(404))
def list_photos(survey_id: SurveyId, context: ContextDep) -> list[PhotoRecord]:
    """List the photos in the order of the survey file, each with its version."""
    return [wire.photo_record(view) for view in context.services.photos(survey_id)]


@router.get(
    "/photos/{photo_id}", summary="Read a photo", response_model=PhotoRecord, responses=problems(404, 410)
)
def read_photo(
    photo_id: PhotoId, request: Request, response: Response, context: ContextDep
) -> PhotoRecord | Response:
    """Read a photo's tags, scale, placement and marks, and its ETag. Lengths are in the survey's unit."""
    view = context.services.photo(photo_id)
    etag(response, view.row.version)
    if not_modified(request, f'"{view.row.version}"'):
        return Response(status_code=304, headers=dict(response.headers))
    return wire.photo_record(view)


@router.patch("/photos/{photo_id}", summary="Tag a photo", responses=problems(*EDIT_PART))
def tag_photo(
    photo_id: PhotoId, body: PhotoTags, response: Response, context: ContextDep, expected: ExpectedVersion
) -> PhotoRecord:
    """Change where it is, how it was taken (device, lens, surface) or its note; what is left out stays."""
    changes = body.model_dump(mode="json", exclude_unset=True)
    return _edited(response, context.services.edit_photo(photo_id, expected, changes))


@router.put(
    "/photos/{photo_id}/scale", summary="Set a photo's scale reference", responses=problems(*EDIT_PART)
)
def set_scale(
    photo_id: PhotoId,
    body: Annotated[Scale | None, Body(examples=[EXAMPLE_SCALE])],
    response: Response,
    context: ContextDep,
    expected: ExpectedVersion,
) -> PhotoRecord:
    """Replace the scale reference; null removes it. Image points in px, lengths in the survey's unit."""
    scale = None if body is None else body.model_dump(mode="json")
    return _edited(response, context.services.edit_photo(photo_id, expected, {"scale": scale}))


@router.put(
    "/photos/{photo_id}/placement", summary="Put a photo on the layout", responses=problems(*EDIT_PART)
)
def set_placement(
    photo_id: PhotoId,
    body: Annotated[Placement | None, Body(examples=[EXAMPLE_PLACEMENT])],
    response: Response,
    context: ContextDep,
    expected: ExpectedVersion,
) -> PhotoRecord:
    """Replace the point pairs that put the photo on its member's layout; null removes them."""
    placement = None if body is None else body.model_dump(mode="json")
    return _edited(response, context.services.edit_photo(photo_id, expected, {"placement": placement}))


@router.put("/photos/{photo_id}/marks", summary="Set a photo's marks", responses=problems(*EDIT_PART))
def set_marks(
    photo_id: PhotoId,
    body: Annotated[list[Mark], Body(examples=[EXAMPLE_MARKS])],
    response: Response,
    context: ContextDep,
    expected: ExpectedVersion,
) -> PhotoRecord:
    """Replace all marks of a photo with their depths; a mark left out of the list is gone.

    A mark with exactly the outline of a proposal accepts that proposal.
    """
    marks = [mark.model_dump(mode="json") for mark in body]
    return _edited(response, context.services.edit_photo(photo_id, expected, {"marks": marks}))


@router.delete(
    "/photos/{photo_id}", status_code=204, summary="Withdraw a photo", responses=problems(*WITHDRAW)
)
def withdraw_photo(
    photo_id: PhotoId, context: ContextDep, expected: ExpectedVersion, reason: Reason = ""
) -> None:
    """Take back a photo that was uploaded by mistake, with its marks.

    It leaves lists, assessment and export; its id is free and the same file may be uploaded again. Nothing
    is deleted: the original stays in the store, the photo in the survey's list of what was withdrawn.
    """
    context.services.withdraw(PhotoRow, photo_id, expected, reason)


@router.head("/photos/{photo_id}/original", include_in_schema=False)
@router.get(
    "/photos/{photo_id}/original",
    summary="Download the original",
    response_class=Response,
    responses=PICTURE_RESPONSES,
)
def original(photo_id: PhotoId, request: Request, context: ContextDep) -> Response:
    """Return the exact bytes that were uploaded; byte ranges work. The ETag is their SHA-256."""
    view, picture = _stored(context, photo_id)
    return serve_bytes(
        request,
        lambda start, stop: context.files.stream(picture.sha256, start, stop),
        total=context.files.size_of(picture.sha256),
        media_type=picture.media_type,
        tag=f'"{picture.sha256}"',
        disposition=attachment(view.row.upload_name or view.row.key),
    )


@router.head("/photos/{photo_id}/picture", include_in_schema=False)
@router.get(
    "/photos/{photo_id}/picture",
    summary="Show the full picture",
    response_class=Response,
    responses=PICTURE_RESPONSES,
)
def picture(photo_id: PhotoId, request: Request, context: ContextDep) -> Response:
    """Return the full-size picture in a form that every browser shows.

    JPEG as it is, PNG and WebP too unless they lie on their side; anything else as an upright JPEG of the
    same size.
    """
    _, found = _stored(context, photo_id)
    if not shown_upright(found.media_type, int(found.facts["orientation"])):
        return _derived(request, context, found, "picture")
    return serve_bytes(
        request,
        lambda start, stop: context.files.stream(found.sha256, start, stop),
        total=context.files.size_of(found.sha256),
        media_type=found.media_type,
        tag=f'"{found.sha256}"',
    )


@router.head("/photos/{photo_id}/preview", include_in_schema=False)
@router.get(
    "/photos/{photo_id}/preview",
    summary="Show the preview",
    response_class=Response,
    responses=PICTURE_RESPONSES,
)
def preview(photo_id: PhotoId, request: Request, context: ContextDep) -> Response:
    """Return an upright JPEG of at most 1600 px."""
    return _derived(request, context, _stored(context, photo_id)[1], "preview")


@router.head("/photos/{photo_id}/thumbnail", include_in_schema=False)
@router.get(
    "/photos/{photo_id}/thumbnail",
    summary="Show the thumbnail",
    response_class=Response,
    responses=PICTURE_RESPONSES,
)
def thumbnail(photo_id: PhotoId, request: Request, context: ContextDep) -> Response:
    """Return an upright JPEG of at most 320 px."""
    return _derived(request, context, _stored(context, photo_id)[1], "thumbnail")


def _edited(response: Response, view: PhotoView) -> PhotoRecord:
    etag(response, view.row.version)
    return wire.photo_record(view)


def _stored(context: Context, photo_id: str) -> tuple[PhotoView, PictureRow]:
    view = context.services.photo(photo_id)
    if view.picture is None:
        raise NotFoundError(
            f"the picture {view.row.document['file']!r} has not been uploaded yet.",
            place=f"photo {view.row.key!r}",
            remedy="Upload it to the survey's photos; it is matched by its hash or file name.",
        )
    return view, view.picture


def _derived(request: Request, context: Context, row: PictureRow, kind: Derived) -> Response:
    data = context.uploads.derived(kind, row.sha256)
    return serve_bytes(
        request,
        lambda start, stop: iter((data[start:stop],)),
        total=len(data),
        media_type="image/jpeg",
        tag=f'"{row.sha256}-{kind}"',
    )
