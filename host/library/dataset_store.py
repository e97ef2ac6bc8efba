"""Where a dataset lies: a folder, or an object store by its URL (extra `fleet`)."""

from __future__ import annotations

from abc import ABC, abstractmethod
from pathlib import Path

from host.errors import BadInputError, NotInstalledError, NotSavedError
from host.whole_file import write_whole


class Store(ABC):
    """Files by name, such as "runs/2026-05.parquet". Each appears whole or not at all."""

    place: str

    @abstractmethod
    def names(self, folder: str) -> list[str]:
        """Names of the files in `folder` and in its folders, sorted; none where there is none."""

    @abstractmethod
    def read(self, name: str) -> bytes | None:
        """A file; None where there is none."""

    @abstractmethod
    def write(self, name: str, data: bytes) -> None:
        """Put a file in its place. Raises NotSavedError when it cannot be."""

    @abstractmethod
    def delete(self, name: str) -> None:
        """Take a file away; it may be gone."""


class FolderStore(Store):
    """A folder of this computer."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder.expanduser()
        self.place = str(folder)

    def names(self, folder: str) -> list[str]:
        """See Store."""
        found = (self._folder / folder).rglob("*")
        return sorted(path.relative_to(self._folder).as_posix() for path in found if path.is_file())

    def read(self, name: str) -> bytes | None:
        """See Store."""
        try:
            return (self._folder / name).read_bytes()
        except FileNotFoundError:
            return None

    def write(self, name: str, data: bytes) -> None:
        """See Store."""
        path = self._folder / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, data)
        except OSError as error:
            raise NotSavedError(
                f"{path} cannot be written ({error.strerror}): choose another place or make room"
            ) from None

    def delete(self, name: str) -> None:
        """See Store."""
        (self._folder / name).unlink(missing_ok=True)


class UrlStore(Store):
    """A place that fsspec knows, such as s3://bucket/season; object stores put an object whole by nature."""

    def __init__(self, url: str) -> None:
        try:
            import fsspec
        except ImportError:
            raise NotInstalledError(
                f"{url} needs the package fsspec: install swardflow[fleet], or give a folder"
            ) from None
        try:
            self._files, self._root = fsspec.core.url_to_fs(url)
        except (ValueError, ImportError) as error:
            raise BadInputError(f"{url} cannot be opened ({error}): check it, or give a folder") from None
        self._root = self._root.rstrip("/")
        self.place = url

    def names(self, folder: str) -> list[str]:
        """See Store."""
        try:
            found = self._files.find(f"{self._root}/{folder}")
        except FileNotFoundError:
            return []
        return sorted(path.removeprefix(self._root).lstrip("/") for path in found)

    def read(self, name: str) -> bytes | None:
        """See Store."""
        try:
            data: bytes = self._files.cat_file(f"{self._root}/{name}")
        except FileNotFoundError:
            return None
        return data

    def write(self, name: str, data: bytes) -> None:
        """See Store."""
        path = f"{self._root}/{name}"
        try:
            self._files.makedirs(path.rpartition("/")[0], exist_ok=True)
            self._files.pipe_file(path, data)
        except OSError as error:
            raise NotSavedError(f"{self.place}/{name} cannot be written ({error}): check place and rights") from None

    def delete(self, name: str) -> None:
        """See Store."""
        try:
            self._files.rm_file(f"{self._root}/{name}")
        except FileNotFoundError:
            return


def store_at(place: str) -> Store:
    """The store that a person names: a folder, or a URL. Raises UserError for one that cannot be used."""
    return UrlStore(place) if "://" in place else FolderStore(Path(place))
