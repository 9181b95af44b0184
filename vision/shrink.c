#include "shrink.h"

#include <string.h>

#include "lanes.h"

/* The loop is left to the compiler to do on many samples at once, which plain
 * -O2 does not. Two samples side by side are read as one number: they need not be
 * parted from their neighbours first. */
#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC optimize("O3")
#endif
WIDE static void halve_rows(unsigned char *restrict to, const unsigned char *restrict a,
	const unsigned char *restrict b, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		unsigned short above, below;
		memcpy(&above, a + 2 * i, sizeof above);
		memcpy(&below, b + 2 * i, sizeof below);
		to[i] = (unsigned short)((above & 255) + (above >> 8) + (below & 255) + (below >> 8) + 2) >> 2;
	}
}

void halve_plane(const unsigned char *in, size_t w, size_t h, unsigned char *out)
{
	for (size_t y = 0; y < h / 2; y++)
		halve_rows(out + y * (w / 2), in + 2 * y * w, in + (2 * y + 1) * w, w / 2);
}

void quarter_plane(const unsigned char *in, size_t w, size_t h, unsigned char *out, unsigned char *spare)
{
	for (size_t y = 0; y < h / 4; y++, in += 4 * w) {
		halve_plane(in, w, 4, spare);
		halve_rows(out + y * (w / 4), spare, spare + w / 2, w / 4);
	}
}
