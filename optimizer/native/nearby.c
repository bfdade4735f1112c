/* Sets of items that fit together and are worth much, by changing others: quick, and mostly enough
 * for hull_cut.c. Only where it finds nothing all sets are searched (packing.c). */

#include <string.h>

#include "packing.h"

/* Changes that bring less are none. */
#define LITTLE 1e-9

/* A set, and what changing it would bring. */
typedef struct {
    const Packing *p;
    Word set;
    double value;
    double more[MOST_ITEMS]; /* what an item adds, or with it takes away */
    double load[MOST_KINDS];
    double together[MOST_ITEMS][MOST_ITEMS];
} Changing;

static void change(Changing *c, int i, int sign)
{
    c->value += sign * c->more[i];
    c->set ^= (Word)1 << i;
    for (int k = 0; k < c->p->n_kinds; k++)
        c->load[k] += sign * c->p->weight[(size_t)i * c->p->n_kinds + k];
    for (int j = 0; j < c->p->n_items; j++)
        c->more[j] += sign * c->together[i][j];
}

static int fits_for(const Changing *c, int in, int out)
{
    for (int k = 0; k < c->p->n_kinds; k++) {
        const double *weight = c->p->weight + k;
        double load = c->load[k] + weight[(size_t)in * c->p->n_kinds];
        if (out >= 0)
            load -= weight[(size_t)out * c->p->n_kinds];
        if (load > 1.0 + ROOM)
            return 0;
    }
    return 1;
}

/* Put in an item, take one out, or one for another, whatever brings most, until nothing does. */
static void climb(Changing *c, Word items)
{
    for (;;) {
        double gain = LITTLE;
        int in = -1, out = -1;
        for (int j = 0; j < c->p->n_items; j++)
            if (c->set >> j & 1 && -c->more[j] > gain) {
                gain = -c->more[j];
                out = j;
            }
        for (int i = 0; i < c->p->n_items; i++) {
            const Word against = c->p->clash[i] & c->set;
            if (!(items & ~c->set & (Word)1 << i) || against & (against - 1))
                continue;
            for (int j = -1; j < c->p->n_items; j++) {
                if (j < 0 ? against != 0 : !(c->set >> j & 1) || against & ~((Word)1 << j))
                    continue;
                const double now =
                    c->more[i] - (j < 0 ? 0.0 : c->more[j] + c->together[i][j]);
                if (now > gain && fits_for(c, i, j)) {
                    gain = now;
                    in = i;
                    out = j;
                }
            }
        }
        if (in < 0 && out < 0)
            return;
        if (out >= 0)
            change(c, out, -1);
        if (in >= 0)
            change(c, in, 1);
    }
}

Word nearby(const Packing *p, const double *worth, Word items, const Word *from, int n_from,
            double *above)
{
    Changing c;
    Word found = 0;
    c.p = p;
    memset(c.together, 0, sizeof c.together);
    for (int k = 0; k < p->n_pairs; k++) {
        const int a = p->pair_a[k], b = p->pair_b[k];
        c.together[a][b] = c.together[b][a] = worth[p->n_items + k];
    }
    for (int n = 0; n < n_from; n++) {
        c.set = 0;
        c.value = 0.0;
        memset(c.load, 0, sizeof c.load);
        memcpy(c.more, worth, sizeof(double) * (size_t)p->n_items);
        for (int i = 0; i < p->n_items; i++)
            if (from[n] & items & (Word)1 << i)
                change(&c, i, 1);
        climb(&c, items);
        if (c.value > *above) {
            *above = c.value;
            found = c.set;
        }
    }
    return found;
}
