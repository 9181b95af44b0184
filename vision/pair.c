#include "pair.h"

#include <math.h>
#include <string.h>

#include "lanes.h"

#if defined(__GNUC__) && !defined(__clang__)
#pragma GCC optimize("O3")
#endif

struct edge { const double *luma, *slope; int n; double reach, per_px; };

/* read_edge interpolates an edge's luma and slope u px towards the film. Where it is
 * over, luma is 0 or 1. */
static inline void read_edge(const struct edge *e, double u, double *luma, double *slope)
{
	*slope = 0;
	if (!(u > -e->reach && u < e->reach)) { /* also when u is not a number */
		*luma = u > 0;
		return;
	}
	double x = (u + e->reach) * e->per_px;
	int i = x;
	i = i < e->n - 2 ? i : e->n - 2;
	double f = x - i;
	*luma = e->luma[i] + f * (e->luma[i + 1] - e->luma[i]);
	*slope = e->slope[i] + f * (e->slope[i + 1] - e->slope[i]);
}

/* So many bins are worked out at once. */
enum { PART = 64, LANES = 4 };
typedef double lanes __attribute__((vector_size(LANES * sizeof(double))));

static inline void load(lanes *to, const double *from) { memcpy(to, from, sizeof *to); }

static inline double total(const lanes *v) { return ((*v)[0] + (*v)[1]) + ((*v)[2] + (*v)[3]); }

/* part holds bins, what the edges show there, and how residuals are weighed. */
struct part {
	double x[PART + LANES], luma[PART], pixels[PART];
	double p[PART + LANES], dp[PART + LANES], q[PART + LANES], dq[PART + LANES];
	double r[PART + LANES], w[PART + LANES];
};

/* How residuals are weighed. */
struct weighing { double scale, least, misfit; };

/* weigh fills the residuals and their weights, Huber's beyond most. */
static inline void weigh(struct part *restrict s, int n, const double *at, const struct weighing *by)
{
	const double low = at[PAIR_LOW], low_slope = at[PAIR_LOW + 1], high = at[PAIR_HIGH], high_slope = at[PAIR_HIGH + 1];
	const double film = at[PAIR_FILM], film_slope = at[PAIR_FILM + 1], misfit = by->misfit;
	const double x0 = at[PAIR_EDGES], x1 = at[PAIR_EDGES + 1], middle = (x0 + x1) / 2;

	for (int i = 0; i < n; i++) {
		double metal0 = low + low_slope * (s->x[i] - x0), metal1 = high + high_slope * (s->x[i] - x1);
		double inside = film + film_slope * (s->x[i] - middle);
		s->r[i] = s->luma[i] - ((1 - s->p[i]) * metal0 + (1 - s->q[i]) * metal1 + (s->p[i] + s->q[i] - 1) * inside);
		s->w[i] = s->pixels[i] / (1 + s->pixels[i] * misfit);
	}
	for (int i = 0; i < n && isfinite(by->scale); i++) {
		double size = fabs(s->r[i]);
		if (size > by->least) {
			double most = fmax(by->scale / sqrt(s->w[i]), by->least);
			if (size > most)
				s->w[i] *= most / size;
		}
	}
}

/* Sums of the equations of some of the unknowns, which: the metal's line, the film's
 * and the edge. Each lane sums every fourth bin. */
enum { ONE_EDGE = 5 };
struct sums { lanes a[ONE_EDGE][ONE_EDGE], b[ONE_EDGE]; };

/* add adds bins that only one edge is near, with its values p and slopes dp. */
static inline void add(struct sums *s, const struct part *bins, int from, int to, const double *p, const double *dp,
	const double *metal, const double *film, double edge, double middle, double sign)
{
	for (int i = from; i < to; i += LANES) {
		lanes x, inside, slope, w, r;
		load(&x, bins->x + i);
		load(&inside, p + i);
		load(&slope, dp + i);
		load(&w, bins->w + i);
		load(&r, bins->r + i);
		for (int k = to - i; k < LANES; k++)
			w[k] = 0;
		lanes lever = x - edge, across = x - middle, outside = 1 - inside;
		lanes step = film[0] + film[1] * across - (metal[0] + metal[1] * lever);
		lanes j[ONE_EDGE] = {outside, outside * lever, inside, inside * across, sign * slope * step};
		for (int k = 0; k < ONE_EDGE; k++) {
			lanes wj = w * j[k];
			for (int m = 0; m <= k; m++)
				s->a[k][m] += wj * j[m];
			s->b[k] += wj * r;
		}
	}
}

static void spread(const struct sums *s, const int *which, double *a, int stride, double *b)
{
	for (int i = 0; i < ONE_EDGE; i++) {
		for (int k = 0; k <= i; k++)
			a[which[i] * stride + which[k]] += total(&s->a[i][k]);
		b[which[i]] += total(&s->b[i]);
	}
}

/* add_both adds a bin that both edges are near. */
static void add_both(const struct part *bins, int i, const double *at, double *a, int stride, double *b)
{
	double lever0 = bins->x[i] - at[PAIR_EDGES], lever1 = bins->x[i] - at[PAIR_EDGES + 1], lever = (lever0 + lever1) / 2;
	double p = bins->p[i], q = bins->q[i], film = p + q - 1, inside = at[PAIR_FILM] + at[PAIR_FILM + 1] * lever;
	double j[PAIR_UNKNOWNS] = {1 - p, (1 - p) * lever0, 1 - q, (1 - q) * lever1, film, film * lever,
		-bins->dp[i] * (inside - (at[PAIR_LOW] + at[PAIR_LOW + 1] * lever0)),
		bins->dq[i] * (inside - (at[PAIR_HIGH] + at[PAIR_HIGH + 1] * lever1))};

	for (int k = 0; k < PAIR_UNKNOWNS; k++) {
		for (int m = 0; m <= k; m++)
			a[k * stride + m] += bins->w[i] * j[k] * j[m];
		b[k] += bins->w[i] * j[k] * bins->r[i];
	}
}

WIDE int pair_equations(const double *bins, int n, const double *at,
	const double *low, const double *low_slope, int low_n, double low_reach,
	const double *high, const double *high_slope, int high_n, double high_reach,
	double scale, double least, double misfit,
	double *a, int stride, double *b, double *rr, double *residual)
{
	const struct edge lower = {low, low_slope, low_n, low_reach, (low_n - 1) / (2 * low_reach)};
	const struct edge upper = {high, high_slope, high_n, high_reach, (high_n - 1) / (2 * high_reach)};
	const struct weighing weighing = {scale, least, misfit};
	const double x0 = at[PAIR_EDGES], x1 = at[PAIR_EDGES + 1], middle = (x0 + x1) / 2;
	/* From here on the high edge shows, and up to there the low one. */
	const double high_from = fmin(middle, x1 - high_reach), low_to = fmax(middle, x0 + low_reach);
	struct part part = {0};
	struct sums at_low = {0}, at_high = {0};
	double square = 0;
	int counted = 0;

	for (int start = 0; start < n; start += PART) {
		int count = n - start < PART ? n - start : PART, first = 0, last;
		for (int i = 0; i < count; i++, bins += 3) {
			part.x[i] = bins[0];
			part.luma[i] = bins[1];
			part.pixels[i] = bins[2];
		}
		for (last = 0; last < count && part.x[last] < low_to; last++)
			read_edge(&lower, part.x[last] - x0, &part.p[last], &part.dp[last]);
		for (int i = last; i < count; i++)
			part.p[i] = 1, part.dp[i] = 0;
		for (; first < count && part.x[first] < high_from; first++)
			part.q[first] = 1, part.dq[first] = 0;
		for (int i = first; i < count; i++)
			read_edge(&upper, x1 - part.x[i], &part.q[i], &part.dq[i]);
		weigh(&part, count, at, &weighing);
		add(&at_low, &part, 0, first, part.p, part.dp, at + PAIR_LOW, at + PAIR_FILM, x0, middle, -1);
		for (int i = first; i < last; i++)
			add_both(&part, i, at, a, stride, b);
		add(&at_high, &part, last, count, part.q, part.dq, at + PAIR_HIGH, at + PAIR_FILM, x1, middle, 1);
		for (int i = 0; i < count; i++) {
			residual[start + i] = part.r[i];
			square += part.w[i] * part.r[i] * part.r[i];
			counted += part.w[i] > 0;
		}
	}
	spread(&at_low, (const int[]){PAIR_LOW, PAIR_LOW + 1, PAIR_FILM, PAIR_FILM + 1, PAIR_EDGES}, a, stride, b);
	spread(&at_high, (const int[]){PAIR_HIGH, PAIR_HIGH + 1, PAIR_FILM, PAIR_FILM + 1, PAIR_EDGES + 1}, a, stride, b);
	*rr += square;
	return counted;
}
