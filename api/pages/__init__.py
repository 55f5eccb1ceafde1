"""The pages a person sees: server-rendered HTML, and the data of the map and of the findings table."""

from api.pages.install import install_pages

__all__ = ["install_pages"]
