#include "spline.h"

#include <math.h>

#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC optimize("O3")
#endif

static void add_row(float *restrict to, const float *restrict from, int n, float by)
{
	for (int i = 0; i < n; i++)
		to[i] += by * from[i];
}

void filter_columns(float *c, int w, int h, float pole, int start)
{
	float z = pole;

	for (int y = 1; y < h && y < start; y++, z *= pole)
		add_row(c, c + (size_t)y * w, w, z);
	for (int y = 1; y < h; y++)
		add_row(c + (size_t)y * w, c + (size_t)(y - 1) * w, w, pole);
	float *last = c + (size_t)(h - 1) * w, *before = last - w;
	for (int x = 0; x < w; x++)
		last[x] = pole / (pole * pole - 1) * (last[x] + pole * before[x]);
	for (int y = h - 2; y >= 0; y--) {
		float *restrict here = c + (size_t)y * w, *restrict below = here + w;
		for (int x = 0; x < w; x++)
			here[x] = pole * (below[x] - here[x]);
	}
}

/* A cubic B-spline's four weights, or the coefficients of a row that they weigh. */
typedef double four __attribute__((vector_size(32)));

/* weights are those at fraction t, and their derivatives. */
static inline void weights(double t, four *w, four *d)
{
	double u = 1 - t;
	*w = (four){u * u * u / 6, 2.0 / 3 - t * t * (2 - t) / 2, 2.0 / 3 - u * u * (2 - u) / 2, t * t * t / 6};
	*d = (four){-u * u / 2, t * (3 * t - 4) / 2, -u * (3 * u - 4) / 2, t * t / 2};
}

static inline double dot(const four *a, const four *b)
{
	four v = *a * *b;
	return (v[0] + v[1]) + (v[2] + v[3]);
}

static inline int sample(const float *c, int w, int h, double x, double y, double *out)
{
	double fx = floor(x), fy = floor(y);
	if (!(fx >= 1 && fy >= 1 && fx + 2 < w && fy + 2 < h))
		return 0;
	four wx, dx, wy, dy, value = {0}, down = {0};
	weights(x - fx, &wx, &dx);
	weights(y - fy, &wy, &dy);
	c += (size_t)(fy - 1) * w + (size_t)(fx - 1);
	for (int k = 0; k < 4; k++, c += w) {
		four row = {c[0], c[1], c[2], c[3]};
		value += wy[k] * row;
		down += dy[k] * row;
	}
	out[0] = dot(&wx, &value);
	out[1] = dot(&dx, &value);
	out[2] = dot(&wx, &down);
	return 1;
}

int sample_spline(const float *c, int w, int h, double x, double y, double *out)
{
	return sample(c, w, h, x, y, out);
}

/* rectified samples the window at a card point; the gradient is per mm. */
static inline int rectified(const float *c, int w, int h, const double *m, double px, double py, double *out)
{
	double k = 1 / (m[6] * px + m[7] * py + m[8]);
	double x = (m[0] * px + m[1] * py + m[2]) * k, y = (m[3] * px + m[4] * py + m[5]) * k;
	double v[3];
	if (!sample(c, w, h, x, y, v))
		return 0;
	out[0] = v[0];
	out[1] = k * (v[1] * (m[0] - x * m[6]) + v[2] * (m[3] - y * m[6]));
	out[2] = k * (v[1] * (m[1] - x * m[7]) + v[2] * (m[4] - y * m[7]));
	return 1;
}

int symmetry_equations(const float *c, int w, int h, const double *m, const double *centre,
	const double *offsets, int n, int every, double reach, double *a, int stride, double *b, double *rr)
{
	int pairs = 0;

	for (int i = 0; i < n; i += every, pairs++) {
		double dx = offsets[2 * i], dy = offsets[2 * i + 1], p[3], q[3];
		if (!rectified(c, w, h, m, centre[0] + dx, centre[1] + dy, p) ||
		    !rectified(c, w, h, m, centre[0] - dx, centre[1] - dy, q))
			return 0;
		double s = (p[0] + q[0]) / reach, r = q[0] - p[0];
		double j[4] = {p[1] - q[1], p[2] - q[2], -dx * s, -dy * s};
		for (int k = 0; k < 4; k++) {
			for (int l = 0; l <= k; l++)
				a[k * stride + l] += j[k] * j[l];
			b[k] += j[k] * r;
		}
		*rr += r * r;
	}
	return pairs;
}
