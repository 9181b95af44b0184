"""The printed card as a texture: the program's own PDF, rasterised by Ghostscript to
one bit a pixel as a laser printer would, each dot spread by toner."""
import subprocess

import cv2
import numpy as np

SIZE = {"bench": (85.6, 54.0), "rider": (24.0, 12.0)}  # mm, as `stripgap card print` draws them
FINE = 2400  # dots an inch of the texture


def texture(program, card, folder, seed):
    """Writes the card's reflectance as a linear 16-bit PNG and returns its path and the
    millimetres it spans."""
    rng = np.random.default_rng(seed)
    pdf, raster = f"{folder}/card.pdf", f"{folder}/raster.png"
    subprocess.run([program, "card", "print", "--out", pdf, "--card", card["layout"],
                    "--serial", card["serial"], "--force"], check=True, stdout=subprocess.DEVNULL)
    subprocess.run(["gs", "-q", "-dNOPAUSE", "-dBATCH", "-sDEVICE=pngmono", f"-r{card['dpi']}",
                    f"-sOutputFile={raster}", pdf], check=True)
    dots = cv2.imread(raster, cv2.IMREAD_GRAYSCALE).astype(np.float32) / 255
    n = FINE // card["dpi"]
    fine = np.kron(dots, np.ones((n, n), np.float32))
    um = FINE / 25400  # pixels a micrometre
    # Toner: the dots blur into one another, the border is uneven, ink spreads outward.
    soft = cv2.GaussianBlur(fine, (0, 0), 22 * um)
    uneven = cv2.GaussianBlur(rng.standard_normal(fine.shape).astype(np.float32), (0, 0), 18 * um)
    soft += 0.09 * uneven / uneven.std()
    level = 0.5 + 0.5 * np.tanh(card["ink_um"] / 35)  # where the spread border lies on the blurred step
    ink = 1 - np.clip((soft - level) / 0.25 + 0.5, 0, 1)
    ink = cv2.GaussianBlur(ink, (0, 0), 6 * um)
    fibre = cv2.GaussianBlur(rng.standard_normal(fine.shape).astype(np.float32), (0, 0), 40 * um)
    paper = card["paper"] * (1 + 0.012 * fibre / fibre.std())
    out = paper * (1 - ink) + card["ink"] * ink
    # Where the toner lies, light scattered in the paper below comes back less: a soft dark rim.
    rim = cv2.GaussianBlur(ink, (0, 0), 70 * um)
    out *= 1 - 0.06 * rim * (1 - ink)
    path = f"{folder}/card.png"
    cv2.imwrite(path, np.clip(out * 65535 + 0.5, 0, 65535).astype(np.uint16))
    px = 25.4 / FINE
    return path, (fine.shape[1] * px, fine.shape[0] * px)
