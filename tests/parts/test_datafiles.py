"""Shipped data is found in the installed package first, in the checkout second."""

import pytest

from romwright import datafiles
from romwright.errors import DataFileError


def test_package_first_checkout_second(tmp_path, monkeypatch):
    package, checkout = tmp_path / "src" / "romwright", tmp_path
    monkeypatch.setattr(datafiles, "HERE", package)
    with pytest.raises(DataFileError, match="install romwright again"):
        datafiles.data_folder("parts")
    (checkout / "pinmaps" / "parts").mkdir(parents=True)
    assert datafiles.data_folder("parts") == checkout / "pinmaps" / "parts"
    (package / "pinmaps" / "parts").mkdir(parents=True)
    assert datafiles.data_folder("parts") == package / "pinmaps" / "parts"


def test_the_real_folder_has_parts():
    assert (datafiles.data_folder("parts") / "28C256.toml").is_file()
