#include "pair.h"

#include <math.h>

#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC optimize("O3")
#endif

struct edge { const double *luma, *slope; int n; double reach, per_px; };

/* read_edge interpolates an edge's luma and slope u px towards the film. Returns 0
 * where it is over: then luma is 0 or 1. */
static inline int read_edge(const struct edge *e, double u, double *luma, double *slope)
{
	*slope = 0;
	if (!(u > -e->reach && u < e->reach)) { /* also when u is not a number */
		*luma = u > 0;
		return 0;
	}
	double x = (u + e->reach) * e->per_px;
	int i = x;
	i = i < e->n - 2 ? i : e->n - 2;
	double f = x - i;
	*luma = e->luma[i] + f * (e->luma[i + 1] - e->luma[i]);
	*slope = e->slope[i] + f * (e->slope[i + 1] - e->slope[i]);
	return 1;
}

/* How residuals are weighed. */
struct weighing { double scale, least, misfit; };

static inline double weight(const struct weighing *w, double r, double pixels)
{
	double v = pixels / (1 + pixels * w->misfit);
	double size = fabs(r);

	if (size > w->least && isfinite(w->scale)) { /* Huber's beyond most */
		double most = fmax(w->scale / sqrt(v), w->least);
		if (size > most)
			v *= most / size;
	}
	return v;
}

/* Sums of the equations of some of the unknowns, which. */
enum { ONE_EDGE = 5 };
struct sums { double a[ONE_EDGE][ONE_EDGE], b[ONE_EDGE]; };

static inline void add(struct sums *s, const double *j, double r, double w)
{
	for (int i = 0; i < ONE_EDGE; i++) {
		double wj = w * j[i];
		for (int k = 0; k <= i; k++)
			s->a[i][k] += wj * j[k];
		s->b[i] += wj * r;
	}
}

static void spread(const struct sums *s, const int *which, double *a, int stride, double *b)
{
	for (int i = 0; i < ONE_EDGE; i++) {
		for (int k = 0; k <= i; k++)
			a[which[i] * stride + which[k]] += s->a[i][k];
		b[which[i]] += s->b[i];
	}
}

/* line holds the sums of the equations that meet a line alone: its level by 1, its
 * slope by a lever. */
struct line { double w, wl, wll, r, rl; };

static inline void add_line(struct line *s, double lever, double r, double w)
{
	double wl = w * lever;
	s->w += w;
	s->wl += wl;
	s->wll += wl * lever;
	s->r += w * r;
	s->rl += wl * r;
}

int pair_equations(const double *bins, int n, const double *at,
	const double *low, const double *low_slope, int low_n, double low_reach,
	const double *high, const double *high_slope, int high_n, double high_reach,
	double scale, double least, double misfit,
	double *a, int stride, double *b, double *rr, double *residual)
{
	const struct edge lower = {low, low_slope, low_n, low_reach, (low_n - 1) / (2 * low_reach)};
	const struct edge upper = {high, high_slope, high_n, high_reach, (high_n - 1) / (2 * high_reach)};
	const struct weighing weighing = {scale, least, misfit};
	const double x0 = at[PAIR_EDGES], x1 = at[PAIR_EDGES + 1], middle = (x0 + x1) / 2;
	struct sums at_low = {0}, at_high = {0};
	struct line lines[3] = {{0}};
	double square = 0;
	int counted = 0;

	for (int i = 0; i < n; i++, bins += 3) {
		double x = bins[0], luma = bins[1], pixels = bins[2];
		double p, dp, q, dq;
		int near_low = read_edge(&lower, x - x0, &p, &dp);
		int near_high = read_edge(&upper, x1 - x, &q, &dq);
		double film = p + q - 1;
		double lever0 = x - x0, lever1 = x - x1, lever = x - middle;
		double metal0 = at[PAIR_LOW] + at[PAIR_LOW + 1] * lever0;
		double metal1 = at[PAIR_HIGH] + at[PAIR_HIGH + 1] * lever1;
		double inside = at[PAIR_FILM] + at[PAIR_FILM + 1] * lever;
		double r = luma - ((1 - p) * metal0 + (1 - q) * metal1 + film * inside);
		double w = weight(&weighing, r, pixels);

		residual[i] = r;
		square += w * r * r;
		counted += w > 0;
		if (!near_low && !near_high) {
			int line = film > 0 ? 2 : p < 1 ? 0 : 1;
			add_line(&lines[line], line == 2 ? lever : line == 1 ? lever1 : lever0, r, w);
		} else if (!near_high && q == 1) { /* of the high side's metal nothing is seen */
			double j[ONE_EDGE] = {1 - p, (1 - p) * lever0, film, film * lever, -dp * (inside - metal0)};
			add(&at_low, j, r, w);
		} else if (!near_low && p == 1) {
			double j[ONE_EDGE] = {1 - q, (1 - q) * lever1, film, film * lever, dq * (inside - metal1)};
			add(&at_high, j, r, w);
		} else {
			double j[PAIR_UNKNOWNS] = {1 - p, (1 - p) * lever0, 1 - q, (1 - q) * lever1, film, film * lever,
				-dp * (inside - metal0), dq * (inside - metal1)};
			for (int k = 0; k < PAIR_UNKNOWNS; k++) {
				for (int m = 0; m <= k; m++)
					a[k * stride + m] += w * j[k] * j[m];
				b[k] += w * j[k] * r;
			}
		}
	}
	spread(&at_low, (const int[]){PAIR_LOW, PAIR_LOW + 1, PAIR_FILM, PAIR_FILM + 1, PAIR_EDGES}, a, stride, b);
	spread(&at_high, (const int[]){PAIR_HIGH, PAIR_HIGH + 1, PAIR_FILM, PAIR_FILM + 1, PAIR_EDGES + 1}, a, stride, b);
	for (int k = 0; k < 3; k++) {
		const struct line *l = &lines[k];
		double *row = a + 2 * k * stride + 2 * k;
		row[0] += l->w;
		row[stride] += l->wl;
		row[stride + 1] += l->wll;
		b[2 * k] += l->r;
		b[2 * k + 1] += l->rl;
	}
	*rr += square;
	return counted;
}
