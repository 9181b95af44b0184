#include "pitch.h"

#include <math.h>

#if defined(__GNUC__) && !defined(__clang__)
__attribute__((optimize("O3")))
#endif
void pitch_equations(const double *x, const double *luma, const double *weight, int n, double omega, double stretch,
	const double *at, double *a, int row, double *b, double *rr)
{
	double matrix[PITCH_UNKNOWNS][PITCH_UNKNOWNS] = {{0}}, right[PITCH_UNKNOWNS] = {0}, square = 0;

	for (int i = 0; i < n; i++) {
		double angle = omega * (1 + stretch) * x[i];
		double sin1 = sin(angle), cos1 = cos(angle), s = sin1, c = cos1;
		double j[PITCH_UNKNOWNS] = {1, x[i]}, slope = 0, r = luma[i] - at[0] - at[1] * x[i];
		for (int h = 0; h < PITCH_HARMONICS; h++) {
			const double *p = at + 2 + 2 * h;
			j[2 + 2 * h] = c;
			j[3 + 2 * h] = s;
			r -= p[0] * c + p[1] * s;
			slope += omega * (h + 1) * x[i] * (p[1] * c - p[0] * s);
			double next = s * cos1 + c * sin1; /* of the next harmonic */
			c = c * cos1 - s * sin1;
			s = next;
		}
		j[PITCH_STRETCH] = slope;
		for (int k = 0; k < PITCH_UNKNOWNS; k++) {
			double wj = weight[i] * j[k];
			for (int l = 0; l <= k; l++)
				matrix[k][l] += wj * j[l];
			right[k] += wj * r;
		}
		square += weight[i] * r * r;
	}
	for (int k = 0; k < PITCH_UNKNOWNS; k++) {
		for (int l = 0; l <= k; l++)
			a[k * row + l] += matrix[k][l];
		b[k] += right[k];
	}
	*rr += square;
}
