"""A workspace of 5,000 lines in 20 files that use the library: laws, machines, materials and profiles, all invented."""

from pathlib import Path

LAWS = 17
"""Laws of each file of laws."""
LAW_FILES, MACHINE_FILES, MATERIAL_FILES, MAIN_FILES = 6, 4, 4, 4


def write(folder: Path) -> dict[str, str]:
    """Write the files into a folder; gives their texts by name."""
    texts = {"shop.melt": _shop(), "quantities.melt": _quantities()}
    for k in range(LAW_FILES):
        texts[f"laws_{k}.melt"] = _laws(k)
    for k in range(MACHINE_FILES):
        texts[f"machines_{k}.melt"] = _machines(k)
    for k in range(MATERIAL_FILES):
        texts[f"materials_{k}.melt"] = _materials(k)
    for k in range(MAIN_FILES):
        texts[f"profiles_{k}.melt"] = _profiles(k)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return texts


def _shop() -> str:
    uses = "\n".join(f'use "laws_{k}.melt"' for k in range(LAW_FILES))
    return f'# A shop with laws of its own (invented).\n\nuse "quantities.melt"\n{uses}\n'


def _quantities() -> str:
    lines = ['# What the shop knows beside the library (invented).\n\nuse library "trade"\n']
    for k in range(LAW_FILES * LAWS):
        lines.append(f"quantity allowance_{k} of machine : share in 0 .. 2")
        lines.append('  "What the shop allows for (invented)."')
    return "\n".join(lines) + "\n"


def _laws(k: int) -> str:
    lines = [f'# Rules of the shop, part {k} (invented).\n\nuse "quantities.melt"\n']
    for i in range(LAWS):
        n = k * LAWS + i
        lines += [
            f"law rule_{n} {{",
            '  about     "What the shop has seen on its own machines, written down so as not to be lost (invented)."',
            '  source    practice "an invented rule of the shop"',
            '  unchecked "an invented rule"',
            "",
            f"  let share_{n} = allowance_{n} * bead.width / nozzle_bore",
            '    "How much of the bore is used (invented)."',
            f"  let room_{n} = nozzle_bore * (4 + share_{n}) - layer.height / 2",
            '    "What is left (invented)."',
            f"  let pace_{n} = flow / (section * min(1 + share_{n}, 2)) + 0.1 * speed.contour",
            "",
            f"  require room_{n} >= 0.1 mm",
            '    else   "there is no room left"',
            '    remedy raise nozzle_bore "take a wider nozzle"',
            f'  valid   share_{n} < 90  else "nobody has looked beyond"',
            "}",
            "",
        ]
    return "\n".join(lines)


def _machines(k: int) -> str:
    lines = ['# Machines of the shop (invented).\n\nuse "shop.melt"\nuse library "machines/tube_fed"\n']
    lines.append(f"machine base_{k} from tube_fed {{")
    lines += [
        f'  allowance_{n}  0.{n % 7 + 1} ± 0.05  assumed "nobody knows (invented)"' for n in range(LAW_FILES * LAWS)
    ]
    lines.append("}\n")
    for i in range(20):
        lines += [
            f"machine tube_{k}_{i} from base_{k} {{",
            f'  guide_length  {300 + 5 * i} ± 5 mm   measured "tape along the tube (invented)"',
            f'  bend          {180 - i} ± 15 deg  measured "protractor on a photograph (invented)"',
            '  gap           0 mm             measured "a printed guide closes the gap (invented)"',
            f'  allowance_{i}   0.5 ± 0.1        measured "looked at (invented)"',
            "}",
            "",
        ]
    return "\n".join(lines)


def _materials(k: int) -> str:
    lines = ['# Filaments of the shop (invented).\n\nuse "shop.melt"\nuse library "materials/urethanes"\n']
    for i in range(42):
        lines += [
            f"material rubber_{k}_{i} from urethane_85a {{",
            f'  hardness  {84 + i % 4} ± 2 shore_a  measured "durometer, five places (invented)"',
            '  diameter  1.75 ± 0.02 mm  measured "calliper, ten places (invented)"',
            "  # Bought in spring (invented).",
            "}",
            "",
        ]
    return "\n".join(lines)


def _profiles(k: int) -> str:
    lines = ["# What is to be printed (invented).\n"]
    lines += [f'use "machines_{k % MACHINE_FILES}.melt"', f'use "machines_{(k + 1) % MACHINE_FILES}.melt"']
    lines += [f'use "materials_{k % MATERIAL_FILES}.melt"', f'use "materials_{(k + 1) % MATERIAL_FILES}.melt"\n']
    for i in range(20):
        lines += [
            f"profile strap_{k}_{i} {{",
            f"  material      rubber_{k % MATERIAL_FILES}_{i}",
            f"  machines      tube_{k % MACHINE_FILES}_{i}, tube_{(k + 1) % MACHINE_FILES}_{i}",
            "",
            "  layer.height  0.20 mm",
            "  stringing     at most thread",
            "  bonding       at least sound if possible",
            "  prefer        throughput, surface",
            "",
            '  pin heat.bed = 40 degC  because "the textured plate lets go below 35 (invented)"',
            "}",
            "",
        ]
    return "\n".join(lines)
