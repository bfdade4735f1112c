/* Cuts from everything that fits together: facets of the cone that its sets span, and what comes in
 * afterwards. optimizer/solve/compiled_hulls.py tells what for, optimizer/solve/facets.py how. There all
 * sets are listed; here those found for earlier points are tried, and where none will do the set
 * that brings most is looked for. */

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "packing.h"

/* As in facets.py. */
#define TINY 1e-6
#define AWAY 1e3
#define LITTLE 1e-9
#define NUDGE 1e-12
#define STEPS 20
/* Sets drawn to find the middle of all. */
#define DRAWN 256

enum { WITHIN, BEYOND, TOO_LONG };

/* The dense table; columns are sets, each with a 1 at the end, rows their coordinates. */
typedef struct {
    const Packing *p;
    HullCut *cut;
    int n_live, d, n;     /* items that there is something of; coordinates, the pairs' included; rows */
    int live[MOST_ITEMS]; /* item of each of the first coordinates */
    double *table;        /* (n + 1, n + 1) the last column what is there, the last row prices */
    double *column, *step, *middle, *point; /* (n + 1) */
    double *known;        /* (KNOWN, n) columns of sets known */
    int n_known;
    Heaviest heaviest;
} Facet;

static double along(const double *a, const double *b, int n)
{
    double sum = 0.0;
    for (int j = 0; j < n; j++)
        sum += a[j] * b[j];
    return sum;
}

/* A set's column. */
static void held(const Facet *f, Word set, double *column)
{
    const Packing *p = f->p;
    for (int k = 0; k < f->n_live; k++)
        column[k] = (double)(set >> f->live[k] & 1);
    for (int k = 0; k < p->n_pairs; k++)
        column[f->n_live + k] = (double)(set >> p->pair_a[k] & set >> p->pair_b[k] & 1);
    column[f->d] = 1.0;
}

/* The next number of a fixed sequence (xorshift). */
static uint64_t drawn(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

/* About the middle of all sets: the mean of the smallest, and of some drawn by lot. */
static void middle_of(Facet *f)
{
    const Packing *p = f->p;
    uint64_t state = 88172645463325252u;
    int count = 1;
    memset(f->middle, 0, sizeof(double) * (size_t)f->n);
    for (int k = 0; k < f->n_live; k++, count++)
        f->middle[k] += 1.0;
    for (int k = 0; k < p->n_pairs; k++, count++) {
        held(f, (Word)1 << p->pair_a[k] | (Word)1 << p->pair_b[k], f->column);
        for (int j = 0; j < f->d; j++)
            f->middle[j] += f->column[j];
    }
    for (int draw = 0; draw < DRAWN; draw++, count++) {
        int order[MOST_ITEMS];
        double load[MOST_KINDS] = {0};
        Word set = 0, excluded = 0;
        for (int k = 0; k < f->n_live; k++) {
            const int j = (int)(drawn(&state) % (uint64_t)(k + 1));
            order[k] = order[j];
            order[j] = f->live[k];
        }
        for (int k = 0; k < f->n_live; k++) {
            const int i = order[k];
            if (drawn(&state) >> 32 & 1 || excluded >> i & 1 || !fits(p, load, i))
                continue;
            set |= (Word)1 << i;
            excluded |= p->clash[i];
            for (int q = 0; q < p->n_kinds; q++)
                load[q] += p->weight[(size_t)i * p->n_kinds + q];
        }
        held(f, set, f->column);
        for (int j = 0; j < f->d; j++)
            f->middle[j] += f->column[j];
    }
    for (int j = 0; j < f->d; j++)
        f->middle[j] /= -count;
    f->middle[f->d] = -1.0;
}

static void pivot(Facet *f, int r)
{
    const int width = f->n + 1;
    double *row = f->table + (size_t)r * width;
    const double by = f->step[r];
    for (int j = 0; j < width; j++)
        row[j] /= by;
    for (int i = 0; i < width; i++) {
        double *other = f->table + (size_t)i * width;
        const double step = f->step[i];
        if (i == r || step == 0.0)
            continue;
        for (int j = 0; j < width; j++)
            other[j] -= step * row[j];
    }
}

/* The inverse of the basis of one set per coordinate and the empty one; 0 if the point is a
 * mixture of these. */
static int begun(Facet *f)
{
    const Packing *p = f->p;
    const int n = f->n, width = n + 1;
    memset(f->table, 0, sizeof(double) * (size_t)width * width);
    for (int k = 0; k < f->d; k++)
        f->table[(size_t)k * width + k] = 1.0;
    for (int k = 0; k < p->n_pairs; k++)
        for (int i = 0; i < f->n_live; i++)
            if (f->live[i] == p->pair_a[k] || f->live[i] == p->pair_b[k])
                f->table[(size_t)i * width + f->n_live + k] = -1.0;
    double *empty = f->table + (size_t)f->d * width;
    empty[f->d] = 1.0;
    for (int i = 0; i < f->d; i++)
        for (int j = 0; j < f->d; j++)
            empty[j] -= f->table[(size_t)i * width + j];
    int least = 0;
    for (int i = 0; i < n; i++) {
        double *row = f->table + (size_t)i * width;
        row[n] = along(row, f->point, n);
        if (row[n] < f->table[(size_t)least * width + n])
            least = i;
    }
    if (f->table[(size_t)least * width + n] >= -LITTLE)
        return 0;
    for (int i = 0; i < n; i++)
        f->step[i] = -1.0 / n;
    f->step[n] = -AWAY;
    pivot(f, least);
    return 1;
}

/* Puts into `column` what brings most at these prices: of the sets known, or of all sets where no
 * known one brings anything, or the middle. Returns what it brings. */
static double priced(Facet *f, int64_t budget)
{
    const Packing *p = f->p;
    const int n = f->n;
    const double *price = f->table + (size_t)n * (n + 1);
    const double *best = f->middle;
    const double of_middle = along(f->middle, price, n) - 1.0;
    double gain = fmax(of_middle, LITTLE);
    for (int k = 0; k < f->n_known; k++) {
        const double *known = f->known + (size_t)k * n;
        const double brings = along(known, price, n);
        if (brings > gain) {
            gain = brings;
            best = known;
        }
    }
    memcpy(f->column, best, sizeof(double) * (size_t)n);
    if (best != f->middle)
        return gain;
    double *worth = f->cut->coefficient;
    for (int i = 0; i < p->n_items; i++)
        worth[i] = -1.0;
    for (int k = 0; k < f->n_live; k++)
        worth[f->live[k]] = price[k];
    memcpy(worth + p->n_items, price + f->n_live, sizeof(double) * (size_t)p->n_pairs);
    /* the empty set brings the last price, every other so much more than it is worth */
    const double empty = price[f->d], above = gain - empty;
    heaviest(&f->heaviest, p, worth, -1, fmax(above, 0.0), INFINITY, budget);
    if (f->heaviest.over)
        return of_middle;
    if (f->heaviest.set) {
        held(f, f->heaviest.set, f->column);
        const int k = (int)(f->cut->n_known++ % KNOWN);
        f->cut->known[k] = f->heaviest.set;
        memcpy(f->known + (size_t)k * n, f->column, sizeof(double) * (size_t)n);
        if (k == f->n_known)
            f->n_known++;
        return f->heaviest.best + empty;
    }
    if (above < 0.0) {
        held(f, 0, f->column);
        return empty;
    }
    return of_middle;
}

/* WITHIN if the point is in the cone; BEYOND with the coefficients (the largest 1) of a facet. */
static int facet(Facet *f, int64_t budget)
{
    const Packing *p = f->p;
    const int n = f->n, width = n + 1;
    const double *price = f->table + (size_t)n * width;
    if (!begun(f))
        return WITHIN;
    for (int steps = 0; steps < STEPS * n; steps++) {
        f->step[n] = priced(f, budget);
        if (f->heaviest.over)
            return TOO_LONG;
        if (f->step[n] <= LITTLE)
            break;
        int r = 0;
        double least = INFINITY;
        for (int i = 0; i < n; i++) {
            const double *row = f->table + (size_t)i * width;
            f->step[i] = along(row, f->column, n);
            const double ratio = (row[n] + NUDGE) / fmax(f->step[i], ZERO);
            if (ratio < least) {
                least = ratio;
                r = i;
            }
        }
        if (f->step[r] <= LITTLE)
            break;
        pivot(f, r);
        if (price[n] <= LITTLE)
            return WITHIN;
    }
    double scale = 0.0, *coefficient = f->cut->coefficient;
    for (int j = 0; j < f->d; j++)
        scale = fmax(scale, fabs(price[j]));
    if (scale <= 0.0)
        return WITHIN;
    memset(coefficient, 0, sizeof(double) * (size_t)p->n_items);
    for (int j = 0; j < f->d; j++) {
        const double a = price[j] / scale;
        const int at = j < f->n_live ? f->live[j] : p->n_items + j - f->n_live;
        coefficient[at] = fabs(a) < TINY ? 0.0 : a;
    }
    return BEYOND;
}

/* The right side is the most of any set; items come in one by one, each with the largest coefficient
 * that keeps every set, as long as there is time. */
static int completed(Facet *f, const Overstep *asked)
{
    const Packing *p = f->p;
    HullCut *cut = f->cut;
    Heaviest *h = &f->heaviest;
    heaviest(h, p, cut->coefficient, -1, 0.0, INFINITY, asked->budget);
    if (h->over)
        return TOO_LONG;
    cut->most = h->best;
    const double there = along(cut->coefficient, asked->point, p->n_items + p->n_pairs);
    if (there - cut->most * asked->used <= asked->least)
        return WITHIN;
    const double enough = cut->most - asked->least_lift;
    for (int i = 0; i < p->n_items && enough >= 0.0; i++) {
        if (asked->point[i] > 0.0)
            continue;
        heaviest(h, p, cut->coefficient, i, 0.0, enough, asked->budget);
        if (h->over)
            break;
        if (h->best < enough)
            cut->coefficient[i] = cut->most - h->best;
    }
    return BEYOND;
}

/* ALL if the point oversteps no cut, FULL with one, OVER_BUDGET if that is not known. */
int limbtrim_hull_cut(const Packing *p, const Overstep *asked, HullCut *cut)
{
    if (p->n_items > MOST_ITEMS || p->n_kinds < 1 || p->n_kinds > MOST_KINDS)
        return OVER_BUDGET;
    Facet *f = malloc(sizeof *f);
    if (!f)
        return NO_MEMORY;
    f->p = p;
    f->cut = cut;
    f->n_live = 0;
    for (int i = 0; i < p->n_items; i++)
        if (asked->point[i] > 0.0)
            f->live[f->n_live++] = i;
    f->d = f->n_live + p->n_pairs;
    f->n = f->d + 1;
    f->heaviest.looked = f->heaviest.over = 0;
    const size_t width = (size_t)f->n + 1;
    f->table = malloc(sizeof(double) * width * (width + 4 + KNOWN));
    if (!f->table) {
        free(f);
        return NO_MEMORY;
    }
    f->column = f->table + width * width;
    f->step = f->column + width;
    f->middle = f->step + width;
    f->point = f->middle + width;
    f->known = f->point + width;
    for (int k = 0; k < f->n_live; k++)
        f->point[k] = asked->point[f->live[k]];
    memcpy(f->point + f->n_live, asked->point + p->n_items, sizeof(double) * (size_t)p->n_pairs);
    f->point[f->d] = asked->used;
    f->n_known = (int)(cut->n_known < KNOWN ? cut->n_known : KNOWN);
    for (int k = 0; k < f->n_known; k++)
        held(f, cut->known[k], f->known + (size_t)k * f->n);
    middle_of(f);
    int found = facet(f, asked->budget);
    if (found == BEYOND)
        found = completed(f, asked);
    free(f->table);
    free(f);
    return found == WITHIN ? ALL : found == BEYOND ? FULL : OVER_BUDGET;
}
