/* Which of some items fit together and are worth most: hull_cut.c asks it.
 *
 * Sets of items are words of bits. What fits together is never listed: whenever a set is needed, the
 * one that is worth most is looked for depth first, under a bound that fills what is left of one
 * capacity, all kinds weighed together, with what brings most for its weight. */

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "packing.h"

/* All that can come of a set with items from a place on: at most this, and the first of them. */
static double at_most(const Heaviest *h, int from, Word set, Word excluded, double value,
                      const double *load, int *first, double *gained)
{
    const Packing *p = h->p;
    double worth[MOST_ITEMS], weight[MOST_ITEMS], room = 0.0;
    int n = 0;
    Word coming = 0;
    *first = -1;
    for (int k = 0; k < p->n_kinds; k++)
        room += h->share[k] * (1.0 + ROOM - load[k]);
    for (int q = from; q < h->n; q++) {
        const int i = h->item[q];
        if (excluded >> i & 1 || !fits(p, load, i))
            continue;
        double now = h->worth[i], then = 0.0;
        if (q < h->n_paired)
            for (int k = 0; k < h->partners[i]; k++) {
                const Word other = (Word)1 << h->partner[i][k];
                if (set & other)
                    now += h->together[i][k];
                else if (coming & other && h->together[i][k] > 0.0)
                    then += h->together[i][k];
            }
        coming |= (Word)1 << i;
        if (*first < 0) {
            *first = q;
            *gained = now;
        }
        if (now + then <= 0.0)
            continue;
        /* what brings most for its weight first: in this order already where nothing is paired */
        int j = n++;
        if (from < h->n_paired)
            for (; j > 0 && worth[j - 1] * h->single[i] < (now + then) * weight[j - 1]; j--) {
                worth[j] = worth[j - 1];
                weight[j] = weight[j - 1];
            }
        worth[j] = now + then;
        weight[j] = h->single[i];
    }
    for (int k = 0; k < n; k++) {
        if (weight[k] >= room) {
            value += weight[k] > 0.0 ? worth[k] * room / weight[k] : worth[k];
            break;
        }
        value += worth[k];
        room -= weight[k];
    }
    return value;
}

static void look(Heaviest *h, int from, Word set, Word excluded, double value, const double *load)
{
    const Packing *p = h->p;
    if (value > h->best) {
        h->best = value;
        h->set = set;
        h->better[h->n_better++ % BETTER] = set;
    }
    for (;;) {
        int q;
        double gained = 0.0, more[MOST_KINDS];
        if (h->over || h->best >= h->enough)
            return;
        if (++h->looked > h->budget) {
            h->over = 1;
            return;
        }
        if (at_most(h, from, set, excluded, value, load, &q, &gained) <= h->best || q < 0)
            return;
        const int i = h->item[q];
        for (int k = 0; k < p->n_kinds; k++)
            more[k] = load[k] + p->weight[(size_t)i * p->n_kinds + k];
        look(h, q + 1, set | (Word)1 << i, excluded | p->clash[i], value + gained, more);
        from = q + 1;
    }
}

void heaviest(Heaviest *h, const Packing *p, const double *worth, int with, double above,
              double enough, int64_t budget)
{
    double load[MOST_KINDS] = {0}, demand[MOST_KINDS] = {0}, ratio[MOST_ITEMS];
    double hoped[MOST_ITEMS];
    Word excluded = 0;
    h->p = p;
    h->worth = worth;
    h->best = above;
    h->enough = enough;
    h->set = 0;
    h->budget = budget;
    h->over = 0;
    h->n_better = 0;
    if (with >= 0) {
        excluded = p->clash[with];
        memcpy(load, p->weight + (size_t)with * p->n_kinds, sizeof(double) * (size_t)p->n_kinds);
    }
    memset(h->partners, 0, sizeof h->partners);
    memcpy(hoped, worth, sizeof(double) * (size_t)p->n_items);
    for (int k = 0; k < p->n_pairs; k++) {
        const int a = p->pair_a[k], b = p->pair_b[k];
        const double both = worth[p->n_items + k];
        if (both == 0.0)
            continue;
        h->partner[a][h->partners[a]] = b;
        h->together[a][h->partners[a]++] = both;
        h->partner[b][h->partners[b]] = a;
        h->together[b][h->partners[b]++] = both;
        if (both > 0.0) {
            hoped[a] += both;
            hoped[b] += both;
        }
    }
    for (int i = 0; i < p->n_items; i++)
        if (hoped[i] > 0.0 && !(excluded >> i & 1))
            for (int k = 0; k < p->n_kinds; k++)
                demand[k] += p->weight[(size_t)i * p->n_kinds + k];
    double all = 0.0;
    for (int k = 0; k < p->n_kinds; k++) {
        const double beyond = demand[k] + load[k] - 1.0;
        h->share[k] = beyond > 0.0 ? beyond * beyond : 0.0;
        all += h->share[k];
    }
    for (int k = 0; k < p->n_kinds; k++)
        h->share[k] = all > 0.0 ? h->share[k] / all : 1.0 / p->n_kinds;
    h->n = h->n_paired = 0;
    for (int pass = 0; pass < 2; pass++) {
        const int begin = h->n;
        for (int i = 0; i < p->n_items; i++) {
            if ((h->partners[i] > 0) != (pass == 0) || hoped[i] <= 0.0 || excluded >> i & 1)
                continue;
            double weight = 0.0;
            for (int k = 0; k < p->n_kinds; k++)
                weight += h->share[k] * p->weight[(size_t)i * p->n_kinds + k];
            h->single[i] = weight;
            const double mine = hoped[i] / (weight + ZERO);
            int j = h->n++;
            for (; j > begin && ratio[j - 1] < mine; j--) {
                ratio[j] = ratio[j - 1];
                h->item[j] = h->item[j - 1];
            }
            ratio[j] = mine;
            h->item[j] = i;
        }
        if (pass == 0)
            h->n_paired = h->n;
    }
    look(h, 0, 0, excluded, 0.0, load);
}

int limbtrim_heaviest(const Packing *p, const double *worth, int64_t budget, uint64_t *set,
                      double *value)
{
    if (p->n_items > MOST_ITEMS || p->n_kinds > MOST_KINDS)
        return OVER_BUDGET;
    Heaviest *h = malloc(sizeof *h);
    if (!h)
        return NO_MEMORY;
    h->looked = 0;
    heaviest(h, p, worth, -1, 0.0, INFINITY, budget);
    const int over = h->over;
    *set = h->set;
    *value = h->best;
    free(h);
    return over ? OVER_BUDGET : ALL;
}
