"""Shipped data is found in the installed package first, in the checkout second."""

import pytest

from romwright import shipped
from romwright.errors import DataFileError


def test_package_first_checkout_second(tmp_path, monkeypatch):
    package, checkout = tmp_path / "src" / "romwright", tmp_path
    monkeypatch.setattr(shipped, "PACKAGE", str(package))
    with pytest.raises(DataFileError, match="install romwright again"):
        shipped.data_folder("parts")
    (checkout / "pinmaps" / "parts").mkdir(parents=True)
    assert shipped.data_folder("parts") == checkout / "pinmaps" / "parts"
    (package / "pinmaps" / "parts").mkdir(parents=True)
    assert shipped.data_folder("parts") == package / "pinmaps" / "parts"


def test_the_real_folder_has_parts():
    assert (shipped.data_folder("parts") / "28C256.toml").is_file()
