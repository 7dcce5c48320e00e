"""Certificates for these tests: an authority that signs for this host, with any dates."""

import shutil
import subprocess
from pathlib import Path

__all__ = ["Authority"]

CONFIG = """\
[ca]
default_ca = ours
[ours]
database = {folder}/index
new_certs_dir = {folder}
serial = {folder}/serial
default_md = sha256
policy = any
x509_extensions = host
unique_subject = no
[any]
commonName = supplied
[host]
subjectAltName = {host}
basicConstraints = CA:FALSE
"""


class Authority:
    """Signs itself; `sign` makes certificates for this host."""

    def __init__(self, folder: Path, name: str = "authority") -> None:
        assert shutil.which("openssl"), "openssl is missing: install it (Debian: apt-get install openssl)"
        self._folder = folder / name
        self._folder.mkdir()
        (self._folder / "index").touch()
        (self._folder / "serial").write_text("01\n")
        self.certificate = self._folder / "ca.pem"
        self._run("req", "-x509", *self._key("ca"), "-days", "2", "-subj", f"/CN={name}", "-out", "ca.pem")

    def sign(
        self, name: str, begins: str = "20200101000000Z", ends: str = "20990101000000Z", host: str = "IP:127.0.0.1"
    ) -> Path:
        """The stem of `.pem` and `.key`. host: what it is for."""
        (self._folder / "ca.cnf").write_text(CONFIG.format(folder=self._folder, host=host))
        self._run("req", "-new", *self._key(name), "-subj", f"/CN={name}", "-out", f"{name}.csr")
        self._run(
            "ca", "-batch", "-notext", "-config", "ca.cnf", "-cert", "ca.pem", "-keyfile", "ca.key",
            "-startdate", begins, "-enddate", ends, "-in", f"{name}.csr", "-out", f"{name}.pem",
        )  # fmt: skip
        return self._folder / name

    def _key(self, name: str) -> list[str]:
        return ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-keyout", f"{name}.key"]

    def _run(self, *words: str) -> None:
        subprocess.run(["openssl", *words], check=True, capture_output=True, timeout=30, cwd=self._folder)
