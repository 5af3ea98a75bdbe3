"""A review that is being served, and a browser's side of it."""
import http.client
import json
import signal
import subprocess
import urllib.parse

import program


class Window:
    """One window on a review: one connection."""

    def __init__(self, address):
        self.at = urllib.parse.urlparse(address)
        self.line = http.client.HTTPConnection(self.at.hostname, self.at.port, timeout=60)

    def ask(self, method, path, body=None, whole_path=False, **headers):
        """(code, headers, bytes); `headers` with _ for -."""
        said = {name.replace("_", "-"): value for name, value in headers.items()}
        self.line.request(method, path if whole_path else self.at.path + path, body, said)
        answer = self.line.getresponse()
        return answer.status, answer.headers, answer.read()

    def get(self, path, **headers):
        code, _, body = self.ask("GET", path, **headers)
        return code, body

    def json(self, path):
        code, body = self.get(path)
        assert code == 200, (path, code, body)
        return json.loads(body)

    def post(self, path, body, **headers):
        """(code, what is said)."""
        said = {
            "Content_Type": "application/json",
            "Origin": f"http://{self.at.netloc}",
            **headers,
        }
        text = json.dumps(body) if isinstance(body, (dict, list, int, type(None))) else body
        code, _, answer = self.ask("POST", path, text, **said)
        return code, json.loads(answer) if answer[:1] == b"{" else answer

    def settled(self):
        """The state when every field has been tried and the specimen concluded."""
        state = self.json("state")
        while not state["concluded"] and not all(
            field["measured"] or field["error"] for field in state["fields"]
        ):
            self.json(f"wait?revision={state['revision']}")
            state = self.json("state")
        while not state["concluded"] and not any(field["error"] for field in state["fields"]):
            self.json(f"wait?revision={state['revision']}")
            state = self.json("state")
        return state


class Served:
    """`keelblock review` while it runs; a context."""

    def __init__(self, *words, cwd=None):
        self.words, self.cwd, self.windows = words, cwd, []

    def __enter__(self):
        self.process = subprocess.Popen(
            [program.PROGRAM, "review", "--no-browser", "--quiet", *map(str, self.words)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=self.cwd,
        )
        self.address = self.process.stdout.readline().strip()
        assert self.address.startswith("http://127.0.0.1:"), self.process.communicate()
        return self

    def window(self):
        self.windows.append(Window(self.address))
        return self.windows[-1]

    def end(self, how=signal.SIGTERM):
        self.process.send_signal(how)
        out, err = self.process.communicate(timeout=60)
        return self.process.returncode, out, err

    def __exit__(self, *_):
        for window in self.windows:
            window.line.close()
        if self.process.poll() is None:
            self.process.kill()
            self.process.communicate()
        self.process.stdout.close()
        self.process.stderr.close()


def figures(state):
    return {figure["key"]: figure["value"] for figure in state["figures"]}
