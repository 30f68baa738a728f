"""The composed installation: its file is sound, and its start-up command starts the service on a real PostgreSQL."""

import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest
import yaml

from tests.house.source_files import HOUSE

COMPOSED = yaml.safe_load((HOUSE / "docker-compose.yml").read_text(encoding="utf-8"))
SERVICES = COMPOSED["services"]


@pytest.mark.parametrize("name", SERVICES)
def test_each_part_is_watched_restarted_and_confined(name):
    part = SERVICES[name]
    assert part["healthcheck"]["test"][0] == "CMD"
    assert part["restart"] == "unless-stopped"
    assert part["read_only"] is True
    assert part["cap_drop"] == ["ALL"]
    assert "no-new-privileges:true" in part["security_opt"]


def test_what_must_last_lies_in_named_volumes_that_are_declared():
    mounted = {mount.split(":")[0] for part in SERVICES.values() for mount in part.get("volumes", [])}
    named = {name for name in mounted if not name.startswith((".", "/"))}
    assert named == set(COMPOSED["volumes"])
    assert {"records", "service_data", "certificates"} <= named
    for local in mounted - named:
        assert (HOUSE / local).exists(), f"{local} is mounted and is not there"


def test_secrets_come_from_files_and_stand_nowhere_else():
    asked = {name for part in SERVICES.values() for name in part.get("secrets", [])}
    assert asked == set(COMPOSED["secrets"]) == {"database_password", "pullbook_database_url"}
    ignored = (HOUSE / ".gitignore").read_text(encoding="utf-8").splitlines()
    for secret in COMPOSED["secrets"].values():
        assert secret["file"].startswith(".secrets/")
    assert ".secrets/" in ignored
    for part in SERVICES.values():
        for name, value in part.get("environment", {}).items():
            assert "PASSWORD" not in name or name.endswith("_FILE"), name
            assert not re.search(r"://[^/]*:[^/]*@", str(value)), name


def test_the_service_reads_the_secret_as_one_of_its_settings():
    from pullbook.settings import Settings

    prefix = Settings.model_config["env_prefix"].lower()
    fields = {prefix + name for name in Settings.model_fields}
    assert set(SERVICES["service"]["secrets"]) <= fields
    for name in SERVICES["service"]["environment"]:
        assert name.lower() in fields, f"{name} is no setting"


def test_only_the_proxy_is_reached_from_outside_and_the_records_reach_nobody():
    assert [name for name, part in SERVICES.items() if part.get("ports")] == ["proxy"]
    assert SERVICES["database"]["networks"] == ["inside"]
    assert COMPOSED["networks"]["inside"]["internal"] is True
    assert set(SERVICES["proxy"]["networks"]) == {"outside"}
    address = SERVICES["proxy"]["networks"]["outside"]["ipv4_address"]
    assert SERVICES["service"]["environment"]["PULLBOOK_TRUSTED_PROXIES"] == address


def test_parts_start_when_what_they_need_is_well():
    assert SERVICES["service"]["depends_on"]["database"]["condition"] == "service_healthy"
    assert SERVICES["proxy"]["depends_on"]["service"]["condition"] == "service_healthy"


def test_the_image_is_built_from_files_that_are_there_and_runs_as_nobody_in_particular():
    recipe = (HOUSE / SERVICES["service"]["build"]["dockerfile"]).read_text(encoding="utf-8")
    for sources in re.findall(r"^COPY (.+) \S+$", recipe, re.MULTILINE):
        for source in sources.split():
            assert (HOUSE / source).exists(), f"the image copies {source}, which is not there"
    user = re.findall(r"^USER (\S+)$", recipe, re.MULTILINE)[-1]
    assert user == SERVICES["service"]["user"]
    assert user.split(":")[0] not in ("0", "root")


def test_the_proxy_takes_what_the_service_takes_and_hands_on_the_true_address():
    words = (HOUSE / "service" / "Caddyfile").read_text(encoding="utf-8")
    from pullbook.settings import Settings

    megabytes = int(re.search(r"max_size (\d+)MB", words).group(1))
    assert megabytes * 1_000_000 >= Settings.model_fields["largest_upload_bytes"].default
    assert f"reverse_proxy service:{SERVICES['service']['environment']['PULLBOOK_LISTEN_PORT']}" in words
    assert "header_up X-Forwarded-For {remote_host}" in words


@contextmanager
def started(environment):
    """The service, by the very command of the file, without a container around it."""
    process = subprocess.Popen(
        SERVICES["service"]["command"], cwd=HOUSE, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    try:
        yield process
    finally:
        process.terminate()
        said = process.communicate(timeout=20)[0]
    assert process.returncode in (0, -15, 143), said.decode()


def until_ready(port, process):
    """Ask /readyz until it says yes."""
    for _ in range(300):
        assert process.poll() is None, process.communicate()[0].decode()
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/readyz", timeout=5) as answer:
                return answer.read()
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.1)
    pytest.fail("not ready within half a minute")


def test_its_start_up_command_starts_the_service_on_postgresql_and_again(postgres, tmp_path):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    told = {name: str(value) for name, value in SERVICES["service"]["environment"].items()}
    told |= {"PULLBOOK_DATA_DIR": str(tmp_path), "PULLBOOK_LISTEN_HOST": "127.0.0.1", "PULLBOOK_LISTEN_PORT": str(port)}
    told |= {"PULLBOOK_DATABASE_URL": postgres.url(postgres.create()), "PULLBOOK_PUBLIC_URL": "https://localhost"}
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    environment = {"PATH": path, "HOME": str(tmp_path), **told}
    check = [word.replace(":8420/", f":{port}/") for word in SERVICES["service"]["healthcheck"]["test"][1:]]
    for turn in ("first", "second"):
        with started(environment) as process:
            until_ready(port, process)
            healthy = subprocess.run(check, env=environment, capture_output=True, timeout=20)
            assert healthy.returncode == 0, f"{turn} start: {healthy.stderr.decode()}"
            assert any(str(port) in word for word in check)
