/* The inner loop of the fit of a pair of edges. Used by pair.go only, which checks
 * sizes. */
#ifndef STRIPGAP_PAIR_H
#define STRIPGAP_PAIR_H

/* The unknowns: the metal's level and its slope on the low side and on the high, the
 * film's, and where the two edges are. */
enum { PAIR_LOW, PAIR_HIGH = 2, PAIR_FILM = 4, PAIR_EDGES = 6, PAIR_UNKNOWNS = 8 };

/* Add up the normal equations of n bins (place, luma, pixels; in order of place) at
 * the unknowns at. An edge's luma and its slope are tabulated at low_n places from
 * -low_reach px to low_reach, and the other's likewise. A residual beyond least pulls
 * no more than one of scale over the root of its weight, and no weight is over
 * 1 / misfit. The lower half of the matrix goes to a, whose rows are stride numbers
 * apart, the right side to b, and the sum of squares to rr; residual takes the bins'.
 * Returns how many bins have a weight. */
int pair_equations(const double *bins, int n, const double *at,
	const double *low, const double *low_slope, int low_n, double low_reach,
	const double *high, const double *high_slope, int high_n, double high_reach,
	double scale, double least, double misfit,
	double *a, int stride, double *b, double *rr, double *residual);

#endif
