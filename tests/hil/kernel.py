"""What the emulated machine boots from, made once and kept: kernel, modules, root, initrd.

Debian's own kernel. Its GPIO simulation (gpio-sim) is not among Debian's modules and is built here
from Debian's package of the kernel's sources; nothing of them is kept in this repository. The
1-Wire bus master (`w1_bench`) is ours.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

HERE = Path(__file__).resolve().parent
RELEASE = "bookworm"
BUILD_PACKAGES = "linux-image-amd64,linux-headers-amd64,linux-source,gcc,make,xz-utils,kmod,busybox"
ROOT_PACKAGES = "systemd,systemd-sysv,dbus,udev,kmod,python3,procps"
#: What gpio-sim is made of.
SOURCES = ("drivers/gpio/gpio-sim.c", "drivers/gpio/gpiolib.h", "kernel/irq/irq_sim.c")
#: For the initrd, then for the machine itself, each with what it needs.
EARLY = ("virtio_pci", "virtio_blk", "ext4", "i6300esb")
LATER = ("w1_therm", "configfs")
#: Whether a line that nobody holds any more stays as it was driven, as on a Raspberry Pi's kernel
#: without strict_gpiod, or goes back to its pull.
PERSIST = (
    "static bool persist_gpio_outputs = true;\nmodule_param(persist_gpio_outputs, bool, 0644);"
)
INIT = """#!/bin/busybox sh
/bin/busybox --install -s /bin
mount -t proc proc /proc; mount -t sysfs sys /sys; mount -t devtmpfs dev /dev
for module in $(cat /modules/order); do insmod /modules/$module; done
mount -t ext4 /dev/vda /root || { echo "no root"; poweroff -f; }
umount /proc /sys
mount --move /dev /root/dev
exec switch_root /root /lib/systemd/systemd
"""


def run(*words: object, **more: object) -> str:
    """A command; its output, or an exception with it."""
    done = subprocess.run([str(w) for w in words], capture_output=True, text=True, check=False,
                          **more)  # type: ignore[call-overload]  # fmt: skip
    if done.returncode != 0:
        told = f"{done.stdout}{done.stderr}"[-3000:]
        raise RuntimeError(f"{' '.join(str(w) for w in words)}: {told}")
    return str(done.stdout)


def debian(place: Path, packages: str) -> Path:
    """A Debian root in a folder, made once."""
    if not (place / "made").exists():
        shutil.rmtree(place, ignore_errors=True)
        place.parent.mkdir(parents=True, exist_ok=True)
        run("mmdebstrap", "--quiet", "--variant=minbase", f"--include={packages}", RELEASE, place)
        (place / "made").touch()
    return place


class Kernel:
    """Kernel and modules in a build root.

    Args:
        cache: the folder that everything is kept in.
    """

    def __init__(self, cache: Path) -> None:
        self.cache = cache
        with ThreadPoolExecutor(2) as pool:
            building = pool.submit(debian, cache / "build", BUILD_PACKAGES)
            rooting = pool.submit(debian, cache / "root", ROOT_PACKAGES)
            self.build, self.root = building.result(), rooting.result()
        self.image = next((self.build / "boot").glob("vmlinuz-*"))
        self.version = self.image.name.removeprefix("vmlinuz-")
        self.made = cache / "modules"
        if not (self.made / "made").exists():
            shutil.rmtree(self.made, ignore_errors=True)
            self.made.mkdir()
            self._gpio_sim()
            self._w1_bench()
            (self.made / "made").touch()

    def _make(self, folder: Path) -> None:
        inside = f"/{folder.relative_to(self.build)}"
        run("chroot", self.build, "make", "-s", "-C", f"/lib/modules/{self.version}/build",
            f"M={inside}", "modules")  # fmt: skip
        for module in folder.glob("*.ko"):
            shutil.copy(module, self.made)

    def _gpio_sim(self) -> None:
        folder = self.build / "tmp/gpio-sim"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        archive = next((self.build / "usr/src").glob("linux-source-*.tar.xz"))
        top = archive.name.removesuffix(".tar.xz")
        wanted = [f"{top}/{name}" for name in SOURCES]
        run("tar", "-C", folder, "--strip-components=3", "-xJf", archive, *wanted)
        self._changed(folder / "gpio-sim.c")
        irq = (folder / "irq_sim.c").read_text()
        # The one is exported to modules, the other is not.
        exported = r"irq_data_to_desc(irq_get_irq_data(\1))"
        irq = re.sub(r"irq_to_desc\((\w+)\)", exported, irq)
        (folder / "irq_sim.c").write_text(irq)
        objects = "gpio_sim-y := gpio-sim.o irq_sim.o"
        (folder / "Makefile").write_text(f"obj-m := gpio_sim.o\n{objects}\n")
        self._make(folder)

    @staticmethod
    def _changed(source: Path) -> None:
        """Letting go of a line leaves it as it is where the parameter says so."""
        text = source.read_text()
        free = re.search(r"static void gpio_sim_free\(.*?\n}\n", text, re.S)
        assert free is not None, "another gpio-sim than is known here"
        back = re.search(r"\t__assign_bit\([^;]+;", free[0])
        assert back is not None, free[0]
        changed = free[0].replace(back[0], f"\tif (!persist_gpio_outputs)\n\t{back[0]}")
        source.write_text(text.replace(free[0], f"{PERSIST}\n\n{changed}"))

    def _w1_bench(self) -> None:
        folder = self.build / "tmp/w1_bench"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(HERE / "w1_bench", folder)
        (folder / "Makefile").write_text("obj-m := w1_bench.o\n")
        self._make(folder)

    def needed(self, *modules: str) -> list[Path]:
        """Files of these modules and of all that they need, in the order to load them."""
        found: dict[Path, None] = {}
        for module in modules:
            asked = ("modprobe", "-S", self.version, "--show-depends", module)
            for line in run("chroot", self.build, *asked).splitlines():
                if line.startswith("insmod "):
                    found[self.build / line.split()[1].lstrip("/")] = None
        return list(found)

    def initrd(self) -> Path:
        """Busybox and what it takes to mount the root."""
        made = self.cache / "initrd"
        tree = self.cache / "initrd.tree"
        shutil.rmtree(tree, ignore_errors=True)
        for name in ("bin", "modules", "proc", "sys", "dev", "root"):
            (tree / name).mkdir(parents=True)
        shutil.copy(self.build / "bin/busybox", tree / "bin")
        for library in ("lib/x86_64-linux-gnu", "lib64"):  # Debian's busybox is not static
            (tree / library).mkdir(parents=True)
        for line in run("chroot", self.build, "ldd", "/bin/busybox").splitlines():
            path = re.search(r"(/lib\S+)", line)
            if path:
                shutil.copy(self.build / path[1].lstrip("/"), tree / path[1].lstrip("/"))
        files = self.needed(*EARLY)
        for file in files:
            shutil.copy(file, tree / "modules")
        (tree / "modules/order").write_text("".join(f"{f.name}\n" for f in files))
        (tree / "init").write_text(INIT)
        (tree / "init").chmod(0o755)
        pack = f"cd {tree} && find . | cpio -o -H newc --quiet | gzip -1 >{made}"
        run("sh", "-c", pack)
        return made

    def put_modules(self, root: Path) -> None:
        """Everything to load later, into `/opt/hil` of a root, with the order to load it in."""
        place = root / "opt/hil/modules"
        place.mkdir(parents=True)
        files = [*self.needed(*LATER), self.made / "gpio_sim.ko", self.made / "w1_bench.ko"]
        for file in files:
            shutil.copy(file, place)
        (place / "order").write_text("".join(f"{f.name}\n" for f in files))


def disk_of(root: Path, made: Path, mebibytes: int) -> Path:
    """A file system with what is in a root."""
    made.unlink(missing_ok=True)
    with open(made, "wb") as file:
        os.truncate(file.fileno(), mebibytes << 20)
    run("mkfs.ext4", "-q", "-d", root, made)
    return made
