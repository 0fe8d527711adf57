# SPDX-License-Identifier: GPL-3.0-or-later
# Copyright (C) 2026 the tiptrue authors
"""A headless Chromium, driven over its debugging pipe: messages of the DevTools protocol in JSON, a NUL after each."""
import base64
import json
import os
import shutil
import subprocess
import tempfile
import time

NAMES = ("chromium", "chromium-browser", "google-chrome")
WAIT_S = 60  # for one answer: far beyond what any page here needs


class Browser:
    def __init__(self):
        program = next((p for p in map(shutil.which, NAMES) if p), None)
        if program is None:
            raise RuntimeError("no Chromium: Debian's package is chromium")
        self.profile = tempfile.mkdtemp(prefix="tiptrue-browser-")
        to_browser, self.out = os.pipe()
        self.into, from_browser = os.pipe()
        # the browser reads from descriptor 3 and writes to 4; both ends are lifted out of their way first
        high = [os.dup2(fd, at) for fd, at in ((to_browser, 60), (from_browser, 61))]

        def put():
            os.dup2(high[0], 3)
            os.dup2(high[1], 4)

        command = [program, "--headless", "--remote-debugging-pipe", f"--user-data-dir={self.profile}", "--no-first-run",
                   "--disable-gpu", "--disable-dev-shm-usage", "--disable-background-networking", "--disable-component-update",
                   "--disable-sync", "--no-default-browser-check", "--hide-scrollbars", "about:blank"]
        if os.geteuid() == 0:
            command.insert(2, "--no-sandbox")  # its sandbox refuses root
        self.log = tempfile.TemporaryFile()
        self.process = subprocess.Popen(command, preexec_fn=put, pass_fds=(3, 4), stdin=subprocess.DEVNULL, stdout=self.log,
                                        stderr=self.log)
        for fd in (to_browser, from_browser, *high):
            os.close(fd)
        self.rest = b""
        self.number = 0
        self.events = []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        try:
            self.ask("Browser.close")
        except (OSError, RuntimeError):
            pass
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        for fd in (self.out, self.into):
            os.close(fd)
        self.log.close()
        shutil.rmtree(self.profile, ignore_errors=True)

    def read(self):
        """The next message."""
        while b"\0" not in self.rest:
            piece = os.read(self.into, 1 << 20)
            if not piece:
                self.log.seek(0)
                raise RuntimeError(f"the browser ended: {self.log.read()[-2000:]!r}")
            self.rest += piece
        message, self.rest = self.rest.split(b"\0", 1)
        return json.loads(message)

    def ask(self, method, session=None, **parameters):
        """The result of a call; what else arrives meanwhile is kept as an event."""
        self.number += 1
        message = {"id": self.number, "method": method, "params": parameters}
        if session is not None:
            message["sessionId"] = session
        os.write(self.out, json.dumps(message).encode() + b"\0")
        end = time.monotonic() + WAIT_S
        while time.monotonic() < end:
            answer = self.read()
            if answer.get("id") == self.number:
                if "error" in answer:
                    raise RuntimeError(f"{method}: {answer['error']}")
                return answer["result"]
            self.events.append(answer)
        raise RuntimeError(f"{method}: no answer")

    def call(self, method, **parameters):
        return self.ask(method, session=self.session, **parameters)

    def open(self, path, width=1024, height=900, dark=False, media="screen"):
        """Show a file; returns the events of loading it."""
        self.events = []
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self.call("Emulation.setEmulatedMedia", media=media,
                  features=[{"name": "prefers-color-scheme", "value": "dark" if dark else "light"}])
        self.call("Page.navigate", url="file://" + os.path.abspath(path))
        while not any(e.get("method") == "Page.loadEventFired" for e in self.events):
            self.events.append(self.read())
        self.evaluate("document.fonts.ready.then(() => 1)")
        return self.events

    def evaluate(self, expression):
        result = self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in result:
            raise RuntimeError(str(result["exceptionDetails"])[:2000])
        return result["result"].get("value")

    def screenshot(self, path, whole=True):
        shot = self.call("Page.captureScreenshot", captureBeyondViewport=whole)
        with open(path, "wb") as file:
            file.write(base64.b64decode(shot["data"]))

    def pdf(self, path):
        sheet = self.call("Page.printToPDF", preferCSSPageSize=True, printBackground=False)
        with open(path, "wb") as file:
            file.write(base64.b64decode(sheet["data"]))
