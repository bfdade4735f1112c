/* What the cheapest layout through every choice and every pair costs under the multipliers of a
 * bound: optimizer/solve/marginals.py tells how and why; this does the same, step by step.
 *
 * Slots are called by number, their open choices by place among those. A table over some slots, in
 * order of their numbers, has a cell for every combination of their open choices. */

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "native.h"

#define MOST_SCOPE 24

typedef struct {
    int n, slot[MOST_SCOPE];
} Scope;

/* A cost over a few slots that is still to be taken in: a pair, or what a bag handed on. */
typedef struct {
    Scope scope;
    double *table;
    int bag, pair; /* where it came from, -1: not from there */
    int live;
} Factor;

/* A slot taken out: what it and its neighbours cost, and the least of it handed on. */
typedef struct {
    Scope scope, rest;
    int slot, parent;
    double *table, *up;
} Bag;

typedef struct {
    const Problem *p;
    const Costs *costs;
    int *size, *own; /* (n_slots) open choices; (n_choices) those of a slot from `first` on */
    double *cost;    /* (n_choices) beside `own` */
    Factor *factors;
    Bag *bags;
    int *of_pair;    /* (n_pairs) the bag that took a pair in, -1: none */
    int n_factors, n_bags, most_bags;
    double most_cells, value;
    void **blocks; /* everything to be freed in the end */
    int n_blocks, most_blocks, failed;
} Elimination;

static double *numbers(Elimination *e, double n)
{
    double *made = NULL;
    if (e->n_blocks < e->most_blocks && n < 1e9)
        made = malloc(sizeof(double) * ((size_t)n + 1));
    if (made)
        e->blocks[e->n_blocks++] = made;
    else
        e->failed = 1;
    return made;
}

static int has(const Scope *s, int slot)
{
    for (int k = 0; k < s->n; k++)
        if (s->slot[k] == slot)
            return 1;
    return 0;
}

/* Put in order; 0 where there are too many. */
static int joined(Scope *s, int slot)
{
    if (has(s, slot))
        return 1;
    if (s->n == MOST_SCOPE)
        return 0;
    int k = s->n++;
    for (; k > 0 && s->slot[k - 1] > slot; k--)
        s->slot[k] = s->slot[k - 1];
    s->slot[k] = slot;
    return 1;
}

static double cells(const Elimination *e, const Scope *s)
{
    double n = 1.0;
    for (int k = 0; k < s->n; k++)
        n *= e->size[s->slot[k]];
    return n;
}

/* For every slot of a table, by how much a step along it moves in a table over fewer slots. */
static void strides(const Elimination *e, const Scope *over, const Scope *few, int *step)
{
    int each = 1;
    for (int k = over->n - 1; k >= 0; k--) {
        step[k] = has(few, over->slot[k]) ? each : 0;
        if (step[k])
            each *= e->size[over->slot[k]];
    }
}

/* Walks the rows (along the last slot) of a table over some slots beside one over fewer. */
typedef struct {
    int n, size[MOST_SCOPE], step[MOST_SCOPE], at[MOST_SCOPE];
    int64_t where;
} Walk;

static void started(const Elimination *e, const Scope *over, const Scope *few, Walk *w)
{
    strides(e, over, few, w->step);
    w->n = over->n;
    w->where = 0;
    for (int k = 0; k < w->n; k++) {
        w->size[k] = e->size[over->slot[k]];
        w->at[k] = 0;
    }
}

/* On to the next row; 0 after the last. */
static int next(Walk *w)
{
    for (int k = w->n - 2; k >= 0; k--) {
        w->where += w->step[k];
        if (++w->at[k] < w->size[k])
            return 1;
        w->where -= (int64_t)w->step[k] * w->size[k];
        w->at[k] = 0;
    }
    return 0;
}

/* Add a table over fewer slots to one over more. */
static void add(const Elimination *e, double *table, const Scope *over, const double *few,
                const Scope *scope)
{
    Walk w;
    started(e, over, scope, &w);
    const int n = w.size[w.n - 1], along = w.step[w.n - 1];
    do {
        const double *from = few + w.where;
        if (along)
            for (int i = 0; i < n; i++)
                table[i] += from[i];
        else
            for (int i = 0; i < n; i++)
                table[i] += *from;
        table += n;
    } while (next(&w));
}

/* The least over all slots but some. */
static void least(const Elimination *e, const double *table, const Scope *over, double *few,
                  const Scope *scope)
{
    Walk w;
    started(e, over, scope, &w);
    const int n = w.size[w.n - 1], along = w.step[w.n - 1];
    const int64_t size = (int64_t)cells(e, scope);
    for (int64_t k = 0; k < size; k++)
        few[k] = INFINITY;
    do {
        double *to = few + w.where;
        if (along) {
            for (int i = 0; i < n; i++)
                to[i] = table[i] < to[i] ? table[i] : to[i];
        } else {
            double best = *to;
            for (int i = 0; i < n; i++)
                best = table[i] < best ? table[i] : best;
            *to = best;
        }
        table += n;
    } while (next(&w));
}

/* Slots with a single choice are added in; pairs of two others become factors. */
static void written(Elimination *e)
{
    const Problem *p = e->p;
    for (int pair = 0; pair < p->n_pairs; pair++) {
        const int a = p->pair_a[pair], b = p->pair_b[pair], n_a = e->size[a], n_b = e->size[b];
        const int wide = p->first[b + 1] - p->first[b];
        const int *own_a = e->own + p->first[a], *own_b = e->own + p->first[b];
        const double *table = e->costs->table + p->pair_start[pair];
        e->of_pair[pair] = -1;
        if (n_a == 1 && n_b == 1) {
            e->value += table[(int64_t)own_a[0] * wide + own_b[0]];
        } else if (n_a == 1) {
            for (int j = 0; j < n_b; j++)
                e->cost[p->first[b] + j] += table[(int64_t)own_a[0] * wide + own_b[j]];
        } else if (n_b == 1) {
            for (int i = 0; i < n_a; i++)
                e->cost[p->first[a] + i] += table[(int64_t)own_a[i] * wide + own_b[0]];
        } else {
            Factor *f = e->factors + e->n_factors++;
            f->scope.n = 2;
            f->scope.slot[0] = a;
            f->scope.slot[1] = b;
            f->bag = -1;
            f->pair = pair;
            f->live = 1;
            f->table = numbers(e, (double)n_a * n_b);
            if (!f->table)
                return;
            for (int i = 0; i < n_a; i++)
                for (int j = 0; j < n_b; j++)
                    f->table[i * n_b + j] = table[(int64_t)own_a[i] * wide + own_b[j]];
        }
    }
    for (int slot = 0; slot < p->n_slots; slot++)
        if (e->size[slot] == 1)
            e->value += e->cost[p->first[slot]];
}

/* A slot taken out together with a group of its factors; what they hand on becomes a factor. */
static void taken_out(Elimination *e, int slot, const Scope *scope, const int *group, int n,
                      int priced)
{
    if (e->n_bags == e->most_bags) {
        e->failed = 1;
        return;
    }
    const int number = e->n_bags++;
    Bag *bag = e->bags + number;
    bag->slot = slot;
    bag->parent = -1;
    bag->scope = *scope;
    bag->rest.n = 0;
    for (int k = 0; k < scope->n; k++)
        if (scope->slot[k] != slot)
            joined(&bag->rest, scope->slot[k]);
    bag->table = numbers(e, cells(e, scope));
    bag->up = numbers(e, cells(e, &bag->rest));
    if (e->failed)
        return;
    memset(bag->table, 0, sizeof(double) * (size_t)cells(e, scope));
    const Scope own = {1, {slot}};
    if (priced)
        add(e, bag->table, scope, e->cost + e->p->first[slot], &own);
    for (int k = 0; k < n; k++) {
        Factor *f = e->factors + group[k];
        add(e, bag->table, scope, f->table, &f->scope);
        f->live = 0;
        if (f->bag >= 0)
            e->bags[f->bag].parent = number;
        else
            e->of_pair[f->pair] = number;
    }
    least(e, bag->table, scope, bag->up, &bag->rest);
    if (!bag->rest.n) {
        e->value += bag->up[0];
        return;
    }
    e->factors[e->n_factors++] = (Factor){bag->rest, bag->up, number, -1, 1};
}

/* Factors of a slot in groups whose slots have not too many combinations, the largest first. */
static void grouped(Elimination *e, int slot)
{
    const int n_all = e->n_factors;
    int *mine = malloc(sizeof(int) * (size_t)(4 * n_all + 4)), n = 0, n_groups = 0;
    Scope *scopes = malloc(sizeof(Scope) * (size_t)(n_all + 1));
    if (!mine || !scopes) {
        e->failed = 1;
        free(mine);
        free(scopes);
        return;
    }
    int *group_of = mine + n_all + 1, *group = group_of + n_all + 1;
    for (int k = 0; k < n_all; k++)
        if (e->factors[k].live && has(&e->factors[k].scope, slot)) {
            int i = n++;
            const double size = cells(e, &e->factors[k].scope);
            for (; i > 0 && cells(e, &e->factors[mine[i - 1]].scope) < size; i--)
                mine[i] = mine[i - 1];
            mine[i] = k;
        }
    for (int k = 0; k < n; k++) {
        const Scope *own = &e->factors[mine[k]].scope;
        int g = 0;
        for (; g < n_groups; g++) {
            Scope both = scopes[g];
            int fits = 1;
            for (int i = 0; i < own->n; i++)
                fits &= joined(&both, own->slot[i]);
            if (fits && cells(e, &both) <= e->most_cells) {
                scopes[g] = both;
                break;
            }
        }
        if (g == n_groups)
            scopes[n_groups++] = *own;
        group_of[k] = g;
    }
    if (!n_groups)
        scopes[n_groups++] = (Scope){1, {slot}};
    for (int g = 0; g < n_groups && !e->failed; g++) {
        int in = 0;
        for (int k = 0; k < n; k++)
            if (group_of[k] == g)
                group[in++] = mine[k];
        taken_out(e, slot, scopes + g, group, in, g == 0);
    }
    free(mine);
    free(scopes);
}

/* Combinations of a slot and its neighbours. */
static double around(const Elimination *e, int slot, uint8_t *seen)
{
    double n = e->size[slot];
    memset(seen, 0, e->p->n_slots);
    seen[slot] = 1;
    for (int k = 0; k < e->n_factors; k++) {
        const Factor *f = e->factors + k;
        if (!f->live || !has(&f->scope, slot))
            continue;
        for (int i = 0; i < f->scope.n; i++)
            if (!seen[f->scope.slot[i]]) {
                seen[f->scope.slot[i]] = 1;
                n *= e->size[f->scope.slot[i]];
            }
    }
    return n;
}

/* Slot after slot is taken out, the one with the fewest combinations first. */
static void up(Elimination *e)
{
    const int n = e->p->n_slots;
    double *combinations = malloc(sizeof(double) * (size_t)(n + 1));
    uint8_t *seen = malloc((size_t)n + 1);
    if (!combinations || !seen)
        e->failed = 1;
    for (int slot = 0; slot < n && !e->failed; slot++)
        combinations[slot] = e->size[slot] > 1 ? around(e, slot, seen) : INFINITY;
    while (!e->failed) {
        int slot = -1;
        for (int k = 0; k < n; k++)
            if (combinations[k] < INFINITY && (slot < 0 || combinations[k] < combinations[slot]))
                slot = k;
        if (slot < 0)
            break;
        combinations[slot] = INFINITY;
        const int before = e->n_bags;
        grouped(e, slot);
        for (int g = before; g < e->n_bags && !e->failed; g++)
            for (int i = 0; i < e->bags[g].rest.n; i++) {
                const int other = e->bags[g].rest.slot[i];
                combinations[other] = around(e, other, seen);
            }
    }
    free(combinations);
    free(seen);
}

/* Each bag's table becomes what the cheapest layout costs beyond the value. */
static void down(Elimination *e)
{
    for (int number = e->n_bags - 1; number >= 0; number--) {
        Bag *bag = e->bags + number;
        const int64_t n = (int64_t)cells(e, &bag->rest);
        if (bag->parent < 0) {
            bag->up[0] = -bag->up[0];
        } else {
            double *message = numbers(e, (double)n);
            if (!message)
                return;
            least(e, e->bags[bag->parent].table, &e->bags[bag->parent].scope, message, &bag->rest);
            /* what is barred below is barred above */
            for (int64_t k = 0; k < n; k++)
                bag->up[k] = bag->up[k] < INFINITY ? message[k] - bag->up[k] : INFINITY;
        }
        if (bag->rest.n)
            add(e, bag->table, &bag->scope, bag->up, &bag->rest);
        else
            for (int64_t k = 0; k < (int64_t)cells(e, &bag->scope); k++)
                bag->table[k] += bag->up[0];
    }
}

/* Of several bags of a slot, each a bound of its own, the highest counts. */
static void told(Elimination *e, double *beyond, double *pairs)
{
    const Problem *p = e->p;
    double *found = numbers(e, (double)p->n_choices);
    if (!found)
        return;
    for (int slot = 0; slot < p->n_slots; slot++)
        for (int k = 0; k < e->size[slot]; k++)
            beyond[p->first[slot] + e->own[p->first[slot] + k]] = 0.0;
    for (int number = 0; number < e->n_bags; number++) {
        const Bag *bag = e->bags + number;
        const Scope own = {1, {bag->slot}};
        least(e, bag->table, &bag->scope, found, &own);
        for (int k = 0; k < e->size[bag->slot]; k++) {
            double *at = beyond + p->first[bag->slot] + e->own[p->first[bag->slot] + k];
            *at = found[k] > *at ? found[k] : *at;
        }
    }
    if (!pairs)
        return;
    for (int pair = 0; pair < p->n_pairs; pair++) {
        const int a = p->pair_a[pair], b = p->pair_b[pair], n_a = e->size[a], n_b = e->size[b];
        const int wide = p->first[b + 1] - p->first[b], bag = e->of_pair[pair];
        const Scope both = {2, {a, b}};
        double *each = numbers(e, (double)n_a * n_b);
        if (!each)
            return;
        if (bag >= 0)
            least(e, e->bags[bag].table, &e->bags[bag].scope, each, &both);
        for (int i = 0; i < n_a; i++)
            for (int j = 0; j < n_b; j++) {
                const int c = e->own[p->first[a] + i], d = e->own[p->first[b] + j];
                const int64_t cell = p->pair_start[pair] + (int64_t)c * wide + d;
                const double x = beyond[p->first[a] + c], y = beyond[p->first[b] + d];
                if (bag >= 0)
                    pairs[cell] = each[i * n_b + j];
                else
                    pairs[cell] = e->costs->table[cell] < INFINITY ? (x > y ? x : y) : INFINITY;
            }
    }
}

static int prepared(Elimination *e, const uint8_t *open)
{
    const Problem *p = e->p;
    const size_t n_s = (size_t)p->n_slots + 1, n_c = (size_t)p->n_choices + 1;
    const size_t n_p = (size_t)p->n_pairs + 1;
    /* every factor but the pairs comes from a bag; every bag takes in one factor or is a slot's first */
    e->most_bags = (int)(2 * n_s + 2 * n_p);
    e->most_blocks = (int)(4 * e->most_bags + 4 * n_p);
    e->size = calloc(n_s, sizeof(int));
    e->own = malloc(sizeof(int) * n_c);
    e->cost = malloc(sizeof(double) * n_c);
    e->factors = malloc(sizeof(Factor) * (n_p + e->most_bags));
    e->bags = malloc(sizeof(Bag) * e->most_bags);
    e->of_pair = malloc(sizeof(int) * n_p);
    e->blocks = malloc(sizeof(void *) * e->most_blocks);
    if (!e->size || !e->own || !e->cost || !e->factors || !e->bags || !e->of_pair || !e->blocks)
        return 0;
    e->value = e->costs->constant;
    for (int slot = 0; slot < p->n_slots; slot++)
        for (int c = p->first[slot]; c < p->first[slot + 1]; c++)
            if (open[c]) {
                const int at = p->first[slot] + e->size[slot]++;
                e->own[at] = c - p->first[slot];
                e->cost[at] = e->costs->choice[c] + e->costs->share[c];
            }
    return 1;
}

/* `value`: no layout over the open choices costs less, infinite where there is none; `beyond`
 * (n_choices), and `pairs` (n_cells) unless it is null, as `Marginals` has them. 0 where there is
 * no memory. */
int limbtrim_marginals(const Problem *p, const Costs *costs, const uint8_t *open, double most_cells,
                       double *value, double *beyond, double *pairs)
{
    Elimination e = {.p = p, .costs = costs, .most_cells = most_cells};
    if (!prepared(&e, open))
        e.failed = 1;
    if (!e.failed)
        written(&e);
    if (!e.failed)
        up(&e);
    if (!e.failed && e.value < INFINITY) {
        down(&e);
        if (!e.failed)
            told(&e, beyond, pairs);
    }
    *value = e.value;
    for (int k = 0; k < e.n_blocks; k++)
        free(e.blocks[k]);
    free(e.size);
    free(e.own);
    free(e.cost);
    free(e.factors);
    free(e.bags);
    free(e.of_pair);
    free(e.blocks);
    return !e.failed;
}
