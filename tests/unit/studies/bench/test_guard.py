"""Only its owner: who is let in, what a page may load, what a name may reach."""

from html.parser import HTMLParser
from importlib import resources
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.testclient import TestClient

from studies.answer.report.rendering import render
from studies.bench.folder import Folder, FolderError
from studies.bench.guard import Guard, Pass

PASS = Pass(8765)
HOST = "http://127.0.0.1:8765"


async def inside(request: Request) -> Response:
    return PlainTextResponse("inside")


APP = Starlette(
    routes=[
        Route("/", inside, methods=["GET", "POST"]),
        Route("/answers/1/trim.html", inside),
    ]
)


def client(base: str = HOST, *, known: bool = True) -> TestClient:
    made = TestClient(Guard(APP, PASS), base_url=base, follow_redirects=False)
    if known:
        made.cookies.set(PASS.cookie, PASS.token)
    return made


def test_without_token_or_cookie_nobody_comes_in() -> None:
    stranger = client(known=False)
    for path in ("/", "/?token=", "/?token=guessed", "/answers/1/trim.html"):
        assert stranger.get(path).status_code == 403
    stranger.cookies.set(PASS.cookie, "guessed")
    assert stranger.get("/").status_code == 403
    assert client().get("/").text == "inside"


def test_the_token_becomes_a_cookie_that_scripts_and_other_sites_do_not_get() -> None:
    answer = client(known=False).get(f"/?token={PASS.token}")
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie and PASS.token.lower() in cookie


def test_tokens_are_long_and_never_the_same() -> None:
    tokens = {Pass(1).token for _ in range(50)}
    assert len(tokens) == 50 and all(len(token) >= 43 for token in tokens)
    assert PASS.token not in repr(PASS)


@pytest.mark.parametrize(
    "base",
    ["http://evil.example:8765", "http://127.0.0.1:80", "http://127.0.0.1.evil.example:8765"],
)
def test_a_name_made_to_point_here_is_refused(base: str) -> None:
    made = TestClient(Guard(APP, PASS), base_url=base, follow_redirects=False)
    made.headers["cookie"] = f"{PASS.cookie}={PASS.token}"
    assert made.get("/").status_code == 403
    assert made.get(f"/?token={PASS.token}").status_code == 403


@pytest.mark.parametrize("base", ["http://localhost:8765", "http://[::1]:8765", HOST])
def test_names_of_this_machine_are_let_in(base: str) -> None:
    assert client(base).get("/").status_code == 200


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1:1", "https://127.0.0.1:8765"]
)
def test_another_page_is_refused(origin: str) -> None:
    for method in ("GET", "POST"):
        assert client().request(method, "/", headers={"Origin": origin}).status_code == 403


def test_what_changes_something_says_where_it_comes_from() -> None:
    assert client().post("/").status_code == 403
    assert client().post("/", headers={"Origin": HOST}).status_code == 200
    for site in ("cross-site", "same-site"):
        assert client().get("/", headers={"Sec-Fetch-Site": site}).status_code == 403


def test_pages_load_no_script_but_their_own_and_answers_are_of_no_origin() -> None:
    page = client().get("/").headers
    policy = page["content-security-policy"]
    assert "default-src 'none'" in policy and "script-src 'self';" in policy
    assert "frame-ancestors 'none'" in policy
    assert page["x-content-type-options"] == "nosniff"
    answer = client().get("/answers/1/trim.html").headers["content-security-policy"]
    assert answer.startswith("sandbox ") and "allow-same-origin" not in answer
    assert "connect-src" not in answer and "default-src 'none'" in answer
    refused = client(known=False).get("/").headers
    assert "default-src 'none'" in refused["content-security-policy"]


TURNS_TEXT_INTO_CODE = (
    "eval(", "new Function", "document.write", "insertAdjacentHTML", "http://", "https://",
)  # fmt: skip


class _Scripts(HTMLParser):
    """Scripts and event handlers of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.scripts: list[str | None] = []
        self.handlers: list[str] = []
        self.inside = False
        self.inline = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.inside = tag == "script"
        if self.inside:
            self.scripts.append(dict(attrs).get("src"))
        self.handlers += [name for name, _ in attrs if name.startswith("on")]

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.inline += data.strip()

    def handle_endtag(self, tag: str) -> None:
        self.inside = False


def test_no_script_stands_in_the_page_itself() -> None:
    found = _Scripts()
    found.feed(render("bench.html.j2", "studies.bench"))
    assert found.scripts and all(found.scripts)
    assert (found.inline, found.handlers) == ("", [])


def test_scripts_turn_no_text_into_code_or_markup() -> None:
    folder = resources.files("studies.bench") / "static"
    own = [file for file in folder.iterdir() if file.name.endswith(".js")]
    assert len(own) > 5
    for file in own:
        text = file.read_text(encoding="utf-8")
        for wrong in TURNS_TEXT_INTO_CODE:
            if file.name == "preact-htm.js" and wrong.startswith("http"):
                continue  # names of XML's
            assert wrong not in text, (file.name, wrong)
        if file.name != "preact-htm.js":
            assert "innerHTML" not in text, file.name


def test_files_have_plain_names_in_one_folder(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "secret.toml").write_text("title = 'not yours'")
    (tmp_path / "in" / "mine.toml").write_text("title = 'mine'")
    (tmp_path / "in" / "link.toml").symlink_to(tmp_path / "secret.toml")
    (tmp_path / "in" / "sub.toml").mkdir()
    folder = Folder(tmp_path / "in")
    assert folder.designs() == ["mine.toml"]
    assert folder.read("mine.toml") == "title = 'mine'"
    for name in ("../secret.toml", "link.toml", str(tmp_path / "secret.toml"), "sub.toml", "", "."):
        with pytest.raises(FolderError):
            folder.read(name)
        with pytest.raises(FolderError):
            folder.write(name, b"over")
    for name in ("a/b.toml", "..toml", ".hidden.toml", "a\0.toml", "mine.py", "x" * 200 + ".toml"):
        with pytest.raises(FolderError):
            folder.write(name, b"over")
    assert (tmp_path / "secret.toml").read_text() == "title = 'not yours'"


def test_what_is_dropped_is_kept_once_and_overwrites_nothing(tmp_path: Path) -> None:
    folder = Folder(tmp_path)
    folder.take("p1.txt", b"100 80\n")
    folder.take("p1.txt", b"100 80\n")
    with pytest.raises(FolderError, match="already with another content"):
        folder.take("p1.txt", b"100 81\n")
    with pytest.raises(FolderError, match="must end in"):
        folder.take("p1.exe", b"")
    assert folder.measured() == ["p1.txt"]
