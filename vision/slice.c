#include "slice.h"

#include <math.h>

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
			for (; x <= last; x++) {
				double dx = x - origin_x;
				double a = dx * along_x + along, c = dx * across_x + across;
				if (a < -half || a >= half || c < lo || c >= hi || (c > skip_lo && c < skip_hi))
					continue;
				double *bin = bins + 3 * (int)((c - lo) * bins_per_px);
				bin[0] += c;
				bin[1] += row[x];
				bin[2]++;
				counted++;
				burnt_out += row[x] >= bright_from;
			}
			next = x > next ? x : next;
		}
	}
	*bright = burnt_out;
	return counted;
}
