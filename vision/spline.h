/* The inner loops of splines and of the symmetry fit that samples them. Used by
 * spline.go and refine.go only, which check sizes. */
#ifndef STRIPGAP_SPLINE_H
#define STRIPGAP_SPLINE_H

#include <stddef.h>

/* Turn the w x h coefficients, each the value of a pixel, into a spline's down all
 * columns, mirrored at both ends. start is how many rows the first sum runs over. */
void filter_columns(float *c, int w, int h, float pole, int start);

/* Sample a spline of w x h coefficients at (x, y) of its window: value, and gradient
 * along x and y. Returns 0 within 2 px of the border. */
int sample_spline(const float *c, int w, int h, double x, double y, double *out);

/* Add up the normal equations of the symmetry fit about the card point centre: the
 * shift of the point, and the slope of the light, for pairs of card points at plus and
 * minus each of n offsets, every so many of them. m maps the card to the window. The
 * lower half of the matrix goes to a, whose rows are stride numbers apart, the right
 * side to b, and the sum of squares to rr. Returns how many pairs were added, 0 when
 * one leaves the window. */
int symmetry_equations(const float *c, int w, int h, const double *m, const double *centre,
	const double *offsets, int n, int every, double reach, double *a, int stride, double *b, double *rr);

#endif
