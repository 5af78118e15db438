"""A sweep's result in pieces, as a Zarr folder: written block by block while the sweep runs, read as far as it is asked for.

Its arrays are those of `labels.dataset`, in chunks of a block each (`dealing`), so that a block's rows become one file of each
variable. The values of an axis that are different for each design are written with the block too. Each file carries a checksum
(numcodecs.CRC32), which zarr compares when it reads the file. What isn't traced yet reads as NaN.

The arrays' descriptions are written anew whenever a sweep begins or goes on. Zarr of version 2, because version 3 has no
settled form for texts of one length.
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..designs.design import COLUMNS
from ..errors import InputError
from ..staging import flush_file
from ..whole_files import disk_faults
from .axes import Plan
from .dealing import Deal
from .store import KEPT, ZARR, prove_block

if TYPE_CHECKING:
    import xarray as xr

_LEVEL = 1
"""Of the compression, Zstandard: the quickest; it saves an eighth of the brightest numbers and nearly all of even ones."""
_DIMS = "_ARRAY_DIMENSIONS"
"""The attribute in which xarray looks for an array's dimensions."""


def check_zarr(out: str | Path | None) -> None:
    """Before anything is traced: raises InputError where there is no folder for it, or zarr isn't installed."""
    if out is None:
        raise InputError("needs a folder", key="zarr", value=True, expected="out, the folder of the sweep")
    if importlib.util.find_spec("zarr") is None:
        raise InputError("zarr is not installed", key="zarr", value=True, expected="pip install 'raylab[zarr]'")


@dataclass(frozen=True)
class Pieces:
    """The Zarr folder of a sweep that runs. Each process that writes blocks has its own.

    Attributes: `folder` of the sweep; `plan`; `deal`, its blocks; `sweep`, the key by which blocks are proved to be its.
    """

    folder: Path
    plan: Plan
    deal: Deal
    sweep: str

    @property
    def place(self) -> Path:
        """The Zarr folder."""
        return self.folder / ZARR

    @property
    def kept(self) -> list[int]:
        """Which columns of the rows are arrays in it; the others are axes or given."""
        return [column for column, name in enumerate(COLUMNS) if name not in (*self.plan.columns, *self.plan.fixed)]

    @property
    def axes(self) -> list[str]:
        """Axes whose values are different for each design."""
        return [name for name in self.plan.columns if self.plan.layout != "grid"]

    @property
    def group(self) -> Any:
        """Zarr's view of it, once it is described."""
        import zarr

        return zarr.open_group(self.place, mode="r+", zarr_format=2, use_consolidated=False)

    def describe(self, form: xr.Dataset) -> None:
        """Describe the arrays, as new or where they are.

        Parameters
        ----------
        form : a dataset as the result will be, with any numbers: names, dimensions, types and attributes are taken from it.

        Raises
        ------
        InputError : the folder can't be written to.
        """
        described = _described(form, {*(COLUMNS[column] for column in self.kept), *self.axes}, self.deal.block)
        self.clear()
        with disk_faults(self.place, KEPT):
            for name, content in described.items():
                (self.place / name).parent.mkdir(parents=True, exist_ok=True)
                (self.place / name).write_bytes(content)

    def clear(self) -> None:
        """Remove what zarr had not finished when its process was killed. Raises InputError where it can't be removed."""
        with disk_faults(self.place, KEPT):
            for left in self.place.rglob("*.partial"):
                left.unlink()

    def write(self, block: int, rows: np.ndarray) -> None:
        """Write a block's rows (K, len(COLUMNS)) and the values of its axes, flushed to the disk, then what proves them.

        Raises InputError where it can't be written.
        """
        import zarr

        start, stop = self.deal.block_span(block)
        values = {COLUMNS[column]: rows[:, column] for column in self.kept}
        values |= {name: self.plan.coordinate(name, start, stop) for name in self.axes}
        region = tuple(slice(*ends) for ends in self.deal.corner(block))
        shape = tuple(one.stop - one.start for one in region)
        file = ".".join(str(one.start // step) for one, step in zip(region, self.deal.block, strict=True))
        with disk_faults(self.place, KEPT), zarr.config.set({"array.write_empty_chunks": True}):
            group = self.group
            for name, one in values.items():
                array = group[name]
                array[region] = one.astype(array.dtype).reshape(shape)
            for name in values:  # after all are written, so that they go to the disk together
                flush_file(self.place / name / file)
        prove_block(self.folder, self.sweep, self.deal, block, rows[:, self.kept])

    def read(self, block: int) -> np.ndarray | None:
        """(K, len(kept)) numbers of a block that was written; None where a file of it is damaged."""
        region, group = tuple(slice(*ends) for ends in self.deal.corner(block)), self.group
        try:
            columns = [np.asarray(group[COLUMNS[column]][region], dtype=float).ravel() for column in self.kept]
        except (RuntimeError, ValueError, OSError):  # a checksum, a file of another length, one that can't be read
            return None
        return np.stack(columns, axis=-1)


def _described(form: xr.Dataset, chunked: set[str], block: tuple[int, ...]) -> dict[str, bytes]:
    """The files of a form's arrays: of those that come in chunks of a block without their numbers, of the others whole."""
    import zarr
    from numcodecs import CRC32, Zstd

    named = " ".join(str(name) for name in form.coords if " " not in str(name))  # as xarray writes them
    files: dict[str, Any] = {}
    place = zarr.storage.MemoryStore(files)
    group = zarr.create_group(place, zarr_format=2, attributes={**_plain(form.attrs), "coordinates": named})
    for name, one in form.variables.items():
        array = group.create_array(
            str(name),
            shape=one.shape,
            chunks=block if name in chunked else one.shape,
            dtype=one.dtype,
            fill_value=np.nan if one.dtype.kind == "f" else None,
            compressors=Zstd(level=_LEVEL),
            filters=[CRC32()],
            attributes={**_plain(one.attrs), _DIMS: [str(dim) for dim in one.dims]},
        )
        if name not in chunked:
            array[...] = one.values
    zarr.consolidate_metadata(place, zarr_format=2)
    return {name: content.to_bytes() for name, content in files.items()}


def _plain(attrs: Any) -> dict[str, Any]:
    """Attributes in JSON's kinds."""
    return {str(key): value.tolist() if hasattr(value, "tolist") else value for key, value in attrs.items()}
