#include "shrink.h"

/* The loop is left to the compiler to do on many samples at once, which plain
 * -O2 does not. */
#if defined(__GNUC__) && !defined(__clang__)
__attribute__((optimize("O3")))
#endif
static void halve_rows(unsigned char *restrict to, const unsigned char *restrict a,
	const unsigned char *restrict b, size_t n)
{
	for (size_t i = 0; i < n; i++)
		to[i] = (unsigned short)(a[2 * i] + a[2 * i + 1] + b[2 * i] + b[2 * i + 1] + 2) >> 2;
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
