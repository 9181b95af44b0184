#include "slice.h"

#include <math.h>

#include "lanes.h"

#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC optimize("O3")
#endif

/* narrow leaves of the places from *from to *to those where off + dir x may be from low
 * to high. */
static void narrow(double *from, double *to, double dir, double off, double low, double high)
{
	if (fabs(dir) < 1e-9) {
		if (off < low - 1e-3 || off > high + 1e-3)
			*to = *from - 1;
		return;
	}
	double a = (low - off) / dir, b = (high - off) / dir;
	*from = fmax(*from, fmin(a, b));
	*to = fmin(*to, fmax(a, b));
}

/* inside tells whether the pixel dx from the origin is in the slice; along and across
 * are its row's. */
static int inside(const double *frame, double half, const double *cuts, double dx, double along, double across)
{
	double a = dx * frame[2] + along, c = dx * frame[4] + across;

	return a >= -half && a < half && c >= cuts[0] && c < cuts[1] && !(c > cuts[2] && c < cuts[3]);
}

/* So many pixels are placed at once. */
enum { PART = 64 };

/* place fills where a row's n pixels from x on lie across, and in which bin. */
WIDE static void place(int x, double origin_x, double across_x, double across, double lo, double bins_per_px, int n,
	double *restrict c, int *restrict bin)
{
	for (int i = 0; i < n; i++) {
		c[i] = (x + i - origin_x) * across_x + across;
		bin[i] = (c[i] - lo) * bins_per_px;
	}
}

int sort_pixels(const unsigned char *plane, int w, int top, int bottom, double left, double right,
	const double *frame, double half, const double *cuts, double bins_per_px, int bright_from,
	double *restrict bins, int *bright)
{
	const double origin_x = frame[0], origin_y = frame[1];
	const double along_x = frame[2], along_y = frame[3], across_x = frame[4], across_y = frame[5];
	const double lo = cuts[0], hi = cuts[1], skip_lo = cuts[2], skip_hi = cuts[3];
	const double part[2][2] = {{lo, skip_lo < skip_hi ? skip_lo : hi}, {skip_hi, hi}};
	int counted = 0, burnt_out = 0;

	for (int y = top; y <= bottom; y++) {
		const unsigned char *row = plane + (long)y * w;
		double dy = y - origin_y, along = dy * along_y, across = dy * across_y;
		int next = 0; /* not looked at yet */
		for (int k = 0; k < (skip_lo < skip_hi ? 2 : 1); k++) {
			/* The part that lies further left in the row comes first. */
			const double *p = part[across_x < 0 && skip_lo < skip_hi ? 1 - k : k];
			double from = left - origin_x, to = right - origin_x;
			narrow(&from, &to, along_x, along, -half, half);
			narrow(&from, &to, across_x, across, p[0], p[1]);
			if (!(from <= to + 1)) /* none here, and a place far outside may be no int */
				continue;
			int x = fmax(next, ceil(from + origin_x - 1e-9)), last = floor(to + origin_x + 1e-9);
			next = last + 1 > next ? last + 1 : next;
			/* Places rise or fall along the row: with both ends inside, all are. */
			while (x <= last && !inside(frame, half, cuts, x - origin_x, along, across))
				x++;
			while (x <= last && !inside(frame, half, cuts, last - origin_x, along, across))
				last--;
			for (int n; x <= last; x += n) {
				double c[PART];
				int in[PART];
				n = last - x + 1 < PART ? last - x + 1 : PART;
				place(x, origin_x, across_x, across, lo, bins_per_px, n, c, in);
				for (int i = 0; i < n; i++) {
					double *bin = bins + 3 * in[i];
					bin[0] += c[i];
					bin[1] += row[x + i];
					bin[2]++;
				}
				for (int i = 0; i < n; i++)
					burnt_out += row[x + i] >= bright_from;
				counted += n;
			}
		}
	}
	*bright = burnt_out;
	return counted;
}
