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
/* Sets known near which a better one is looked for first. */
#define STARTS 4

enum { WITHIN, BEYOND, TOO_LONG };

/* The dense table; columns are sets, each with a 1 at the end, rows their coordinates. */
typedef struct {
    const Packing *p;
    HullCut *cut;
    int n_live, d, n;     /* items that there is something of; coordinates, the pairs' included; rows */
    int live[MOST_ITEMS]; /* item of each of the first coordinates */
    double *table;        /* (n + 1, n + 1) the last column what is there, the last row prices */
    double *column, *step, *middle, *point; /* (n + 1) */
    double *known;        /* (n, KNOWN) columns of sets known, beside each other */
    int n_known;
    Word items;           /* the live ones */
    Word full[KNOWN];     /* sets known that leave nothing of the right side, and their loads */
    double load[KNOWN][MOST_KINDS];
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

/* Puts the column at hand among those of sets known. */
static void keep(Facet *f, int k)
{
    for (int j = 0; j < f->n; j++)
        f->known[(size_t)j * KNOWN + k] = f->column[j];
}

/* Remembers a set whose column is at hand. */
static void remember(Facet *f, Word set)
{
    const int k = (int)(f->cut->n_known++ % KNOWN);
    f->cut->known[k] = set;
    keep(f, k);
    if (k == f->n_known)
        f->n_known++;
}

/* What every set known brings at these prices. */
static void of_known(const Facet *f, const double *price, double *brings)
{
    memset(brings, 0, sizeof(double) * (size_t)f->n_known);
    for (int j = 0; j < f->n; j++) {
        const double *known = f->known + (size_t)j * KNOWN, each = price[j];
        for (int k = 0; k < f->n_known; k++)
            brings[k] += known[k] * each;
    }
}

/* The sets known that bring most, the best first, and the empty one. Returns how many. */
static int likeliest(const Facet *f, const double *brings, Word *from)
{
    double likely[STARTS];
    int n = 0;
    for (int k = 0; k < f->n_known; k++) {
        int j = n < STARTS ? n++ : STARTS;
        for (; j > 0 && likely[j - 1] < brings[k]; j--)
            if (j < STARTS) {
                likely[j] = likely[j - 1];
                from[j] = from[j - 1];
            }
        if (j < STARTS) {
            likely[j] = brings[k];
            from[j] = f->cut->known[k];
        }
    }
    from[n] = 0;
    return n + 1;
}

/* A set that is worth more than `value`, which then is what it is worth; 0 if there is none. It is
 * looked for near sets known, and then among all; those come upon on the way are kept. */
static Word dearer(Facet *f, const double *worth, const double *brings, double *value,
                   int64_t budget)
{
    Heaviest *h = &f->heaviest;
    Word from[STARTS + 1];
    Word set = nearby(f->p, worth, f->items, from, likeliest(f, brings, from), value);
    if (set)
        return set;
    heaviest(h, f->p, worth, -1, *value, *value + LITTLE, budget);
    if (h->over || !h->set)
        return 0;
    *value = h->best;
    for (int k = 0; k < h->n_better && k < BETTER; k++)
        if (h->better[k] != h->set) {
            held(f, h->better[k], f->column);
            remember(f, h->better[k]);
        }
    set = nearby(f->p, worth, f->items, &h->set, 1, value);
    return set ? set : h->set;
}

/* Puts into `column` what brings much at these prices: of the sets known, or of all sets where no
 * known one brings anything, or the middle. Returns what it brings. */
static double priced(Facet *f, int64_t budget)
{
    const Packing *p = f->p;
    const int n = f->n;
    const double *price = f->table + (size_t)n * (n + 1);
    const double of_middle = along(f->middle, price, n) - 1.0;
    double gain = fmax(of_middle, LITTLE), brings[KNOWN];
    int best = -1;
    of_known(f, price, brings);
    for (int k = 0; k < f->n_known; k++)
        if (brings[k] > gain) {
            gain = brings[k];
            best = k;
        }
    if (best >= 0) {
        for (int j = 0; j < n; j++)
            f->column[j] = f->known[(size_t)j * KNOWN + best];
        return gain;
    }
    double *worth = f->cut->coefficient;
    for (int i = 0; i < p->n_items; i++)
        worth[i] = -1.0;
    for (int k = 0; k < f->n_live; k++)
        worth[f->live[k]] = price[k];
    memcpy(worth + p->n_items, price + f->n_live, sizeof(double) * (size_t)p->n_pairs);
    /* the empty set brings the last price, every other so much more than it is worth */
    const double empty = price[f->d], above = gain - empty;
    double value = fmax(above, 0.0);
    const Word set = dearer(f, worth, brings, &value, budget);
    if (set) {
        held(f, set, f->column);
        remember(f, set);
        return value + empty;
    }
    if (above < 0.0 && !f->heaviest.over) {
        held(f, 0, f->column);
        return empty;
    }
    memcpy(f->column, f->middle, sizeof(double) * (size_t)n);
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
        int some[MOST_ITEMS * MOST_ITEMS], n_some = 0;
        for (int j = 0; j < n; j++)
            if (f->column[j] != 0.0)
                some[n_some++] = j;
        for (int i = 0; i < n; i++) {
            const double *row = f->table + (size_t)i * width;
            double sum = 0.0;
            for (int q = 0; q < n_some; q++)
                sum += row[some[q]] * f->column[some[q]];
            f->step[i] = sum;
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

/* Puts into `full` the sets known that are worth `enough`, and what they weigh. */
static int filled(Facet *f, const double *worth, double enough)
{
    const Packing *p = f->p;
    int n = 0;
    for (int k = 0; k < f->n_known; k++) {
        if (worth[k] < enough)
            continue;
        f->full[n] = f->cut->known[k];
        memset(f->load[n], 0, sizeof f->load[n]);
        for (int i = 0; i < p->n_items; i++) {
            if (!(f->full[n] >> i & 1))
                continue;
            for (int q = 0; q < p->n_kinds; q++)
                f->load[n][q] += p->weight[(size_t)i * p->n_kinds + q];
        }
        n++;
    }
    return n;
}

/* The right side is the most of any set; items come in one by one, each with the largest coefficient
 * that keeps every set, as long as there is time. */
static int completed(Facet *f, const Overstep *asked)
{
    const Packing *p = f->p;
    HullCut *cut = f->cut;
    Heaviest *h = &f->heaviest;
    double worth[KNOWN], most = 0.0;
    memcpy(f->step + f->n_live, cut->coefficient + p->n_items, sizeof(double) * (size_t)p->n_pairs);
    for (int k = 0; k < f->n_live; k++)
        f->step[k] = cut->coefficient[f->live[k]];
    f->step[f->d] = 0.0;
    of_known(f, f->step, worth);
    for (int k = 0; k < f->n_known; k++)
        most = fmax(most, worth[k]);
    heaviest(h, p, cut->coefficient, -1, most, INFINITY, asked->budget);
    if (h->over)
        return TOO_LONG;
    cut->most = h->best;
    const double there = along(cut->coefficient, asked->point, p->n_items + p->n_pairs);
    if (there - cut->most * asked->used <= asked->least)
        return WITHIN;
    const double enough = cut->most - asked->least_lift;
    const int n_full = filled(f, worth, enough);
    for (int i = 0; i < p->n_items && enough >= 0.0; i++) {
        int none = asked->point[i] > 0.0;
        /* what fits into a set that leaves too little gets nothing */
        for (int k = 0; k < n_full && !none; k++)
            none = !(f->full[k] & p->clash[i]) && fits(p, f->load[k], i);
        if (none)
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
    f->items = 0;
    for (int i = 0; i < p->n_items; i++)
        if (asked->point[i] > 0.0) {
            f->live[f->n_live++] = i;
            f->items |= (Word)1 << i;
        }
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
    for (int k = 0; k < f->n_known; k++) {
        held(f, cut->known[k], f->column);
        keep(f, k);
    }
    middle_of(f);
    int found = facet(f, asked->budget);
    if (found == BEYOND)
        found = completed(f, asked);
    free(f->table);
    free(f);
    return found == WITHIN ? ALL : found == BEYOND ? FULL : OVER_BUDGET;
}
