/* The best plan of random problems against the optimum of the same problems as 0-1 integer programs, which GLPK
 * solves:
 *   x_i            step i is taken
 *   y_{g,S}        of the steps that touch goal g, just those of S are taken; Σ_S y = 1, Σ_{S ∋ i} y = x_i
 *   maximise       Σ weight_g · (U_g(S) − U_g(∅)) · y_{g,S} − Σ cost_i · x_i
 * with a row for each donor, recipient, bar, need, operation and donor that must be spent. With whole x every y
 * is 0 or 1, so this is the worth of plan.h without any approximation. Arguments: how many, and the seed. */
#include <glpk.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "plan.h"

enum { MOST_STEPS = 24, MOST_GOALS = 12, MOST_TOUCH = 6, BITS = 12 };
#define AGREE 1e-7

/* ---- random problems ---- */

static uint64_t state;

static uint64_t draw(void) {
    state += UINT64_C(0x9e3779b97f4a7c15); /* splitmix64 */
    uint64_t z = state;
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static size_t below(size_t count) {
    return (size_t)(draw() % count);
}

static bool chance(size_t percent) {
    return below(100) < percent;
}

static double share(void) {
    return chance(10) ? (double)below(2) : (double)(draw() >> 11) * 0x1p-53;
}

static uint64_t some_bits(void) {
    uint64_t bits = 0;
    for (size_t k = below(3); k > 0; k--)
        bits |= UINT64_C(1) << below(BITS);
    return bits;
}

static void draw_step(struct rw_plan_problem *p, size_t i) {
    struct rw_plan_step *step = &p->steps[i];
    step->donors = some_bits();
    step->recipients = some_bits();
    step->stage = (uint8_t)below(RW_PLAN_STAGES);
    step->family = (uint16_t)below(p->step_count);
    step->cost = chance(20) ? 0.0 : 0.3 * share();
    if (chance(25))
        step->bars[0] |= UINT64_C(1) << below(p->step_count);
    for (size_t k = chance(20) ? 1 + below(2) : 0; k > 0; k--)
        step->needs[0] |= UINT64_C(1) << below(p->step_count);
    step->bars[0] &= ~(UINT64_C(1) << i);
    step->needs[0] &= ~(UINT64_C(1) << i);
}

static const struct rw_plan_effect *effect_on(const struct rw_plan_step *step, size_t goal) {
    for (size_t e = 0; e < step->effect_count; e++)
        if (step->effects[e].goal == goal)
            return &step->effects[e];
    return NULL;
}

static void draw_problem(struct rw_plan_problem *p) {
    memset(p, 0, sizeof *p);
    p->step_count = 1 + below(MOST_STEPS);
    p->goal_count = 1 + below(MOST_GOALS);
    for (size_t stage = 0; stage < RW_PLAN_STAGES; stage++)
        p->room[stage] = chance(15) ? 0 : 1 + below(RW_MAX_STEPS / RW_PLAN_STAGES);
    for (size_t g = 0; g < p->goal_count; g++) {
        p->weight[g] = 2.0 * share();
        p->unaided[g] = chance(50) ? 0.0 : share();
    }
    for (size_t i = 0; i < p->step_count; i++)
        draw_step(p, i);
    for (uint8_t g = 0; g < p->goal_count; g++)
        for (size_t k = below(MOST_TOUCH + 1); k > 0; k--) {
            struct rw_plan_step *step = &p->steps[below(p->step_count)];
            if (effect_on(step, g) == NULL)
                step->effects[step->effect_count++] = (struct rw_plan_effect){
                    .goal = g, .gives = chance(70) ? share() : 0.0, .takes = chance(40) ? share() : 0.0};
        }
    while (chance(35))
        p->must_spend |= UINT64_C(1) << below(BITS);
}

/* ---- as an integer program ---- */

struct row {
    int count, columns[1 + (1 << MOST_TOUCH)];
    double factors[1 + (1 << MOST_TOUCH)];
};

static void append(struct row *row, int column, double factor) {
    row->columns[++row->count] = column;
    row->factors[row->count] = factor;
}

static void add_row(glp_prob *lp, int type, double bound, const struct row *row) {
    const int number = glp_add_rows(lp, 1);
    glp_set_row_bnds(lp, number, type, bound, bound);
    glp_set_mat_row(lp, number, row->count, row->columns, row->factors);
}

static int column_of(size_t step) {
    return (int)step + 1;
}

static bool in(uint64_t bits, size_t i) {
    return (bits >> i & 1u) != 0;
}

/* Σ of the steps marked, at most or at least 1. */
static void add_marked(glp_prob *lp, const struct rw_plan_problem *p, int type, const bool *marked) {
    struct row row = {0};
    for (size_t i = 0; i < p->step_count; i++)
        if (marked[i])
            append(&row, column_of(i), 1.0);
    add_row(lp, type, 1.0, &row);
}

static void add_rules(glp_prob *lp, const struct rw_plan_problem *p) {
    for (size_t bit = 0; bit < BITS; bit++) {
        bool gives[MOST_STEPS], gets[MOST_STEPS];
        for (size_t i = 0; i < p->step_count; i++) {
            gives[i] = in(p->steps[i].donors, bit);
            gets[i] = in(p->steps[i].recipients, bit);
        }
        add_marked(lp, p, GLP_UP, gives);
        add_marked(lp, p, GLP_UP, gets);
        if (in(p->must_spend, bit))
            add_marked(lp, p, GLP_LO, gives);
    }
    for (size_t i = 0; i < p->step_count; i++) {
        struct row needs = {0};
        append(&needs, column_of(i), 1.0);
        for (size_t k = 0; k < p->step_count; k++) {
            bool pair[MOST_STEPS] = {false};
            pair[i] = pair[k] = true;
            if (in(p->steps[i].bars[0], k))
                add_marked(lp, p, GLP_UP, pair);
            if (in(p->steps[i].needs[0], k))
                append(&needs, column_of(k), -1.0);
        }
        if (p->steps[i].needs[0] != 0)
            add_row(lp, GLP_UP, 0.0, &needs);
    }
    for (size_t stage = 0; stage < RW_PLAN_STAGES; stage++) {
        struct row row = {0};
        for (size_t i = 0; i < p->step_count; i++)
            if (p->steps[i].stage == stage)
                append(&row, column_of(i), 1.0);
        add_row(lp, GLP_UP, (double)p->room[stage], &row);
    }
}

/* U of the goal when those of the touching steps whose bit is set are taken. */
static double value_of(const struct rw_plan_problem *p, size_t goal, const size_t *touching, size_t count,
                       unsigned subset) {
    double kept = p->unaided[goal], missed = 1.0;
    for (size_t k = 0; k < count; k++)
        if (in(subset, k)) {
            kept *= 1.0 - effect_on(&p->steps[touching[k]], goal)->takes;
            missed *= 1.0 - effect_on(&p->steps[touching[k]], goal)->gives;
        }
    return 1.0 - (1.0 - kept) * missed;
}

static void add_goal(glp_prob *lp, const struct rw_plan_problem *p, size_t goal) {
    size_t touching[MOST_TOUCH], count = 0;
    for (size_t i = 0; i < p->step_count; i++)
        if (effect_on(&p->steps[i], goal) != NULL)
            touching[count++] = i;
    struct row one = {0}, as_taken[MOST_TOUCH] = {{0}};
    const int first = glp_add_cols(lp, 1 << count);
    for (unsigned subset = 0; subset < 1u << count; subset++) {
        const int column = first + (int)subset;
        glp_set_col_bnds(lp, column, GLP_DB, 0.0, 1.0);
        glp_set_obj_coef(lp, column,
                         p->weight[goal] * (value_of(p, goal, touching, count, subset) - p->unaided[goal]));
        append(&one, column, 1.0);
        for (size_t k = 0; k < count; k++)
            if (in(subset, k))
                append(&as_taken[k], column, 1.0);
    }
    add_row(lp, GLP_FX, 1.0, &one);
    for (size_t k = 0; k < count; k++) {
        append(&as_taken[k], column_of(touching[k]), -1.0);
        add_row(lp, GLP_FX, 0.0, &as_taken[k]);
    }
}

enum verdict { OPTIMAL, INFEASIBLE, FAILED };

static enum verdict solve_program(const struct rw_plan_problem *p, double *optimum) {
    glp_prob *lp = glp_create_prob();
    glp_iocp options;
    glp_set_obj_dir(lp, GLP_MAX);
    glp_add_cols(lp, (int)p->step_count);
    for (size_t i = 0; i < p->step_count; i++) {
        glp_set_col_kind(lp, column_of(i), GLP_BV);
        glp_set_obj_coef(lp, column_of(i), -p->steps[i].cost);
    }
    add_rules(lp, p);
    for (size_t g = 0; g < p->goal_count; g++)
        add_goal(lp, p, g);
    glp_init_iocp(&options);
    options.msg_lev = GLP_MSG_OFF;
    options.presolve = GLP_ON;
    options.tol_int = 1e-9; /* nearly whole steps would be worth a little more */
    options.tol_obj = 1e-9;
    const int failure = glp_intopt(lp, &options), status = glp_mip_status(lp);
    *optimum = glp_mip_obj_val(lp);
    glp_delete_prob(lp);
    if (failure == GLP_ENOPFS || (failure == 0 && status == GLP_NOFEAS)) /* found in presolving, or later */
        return INFEASIBLE;
    return failure == 0 && status == GLP_OPT ? OPTIMAL : FAILED;
}

/* ---- both ---- */

struct tally {
    unsigned long infeasible, empty, differ;
    double worst;
};

static void compare(void *scratch, unsigned long seed, unsigned long number, struct tally *t) {
    static const char *const verdicts[] = {"optimal", "infeasible", "failed"};
    struct rw_plan_problem problem;
    struct rw_plan_choice plan;
    double optimum = 0.0;
    state = seed * UINT64_C(1000003) + number;
    draw_problem(&problem);
    const bool found = rw_plan_solve(&problem, scratch, &plan, 1) == 1;
    const enum verdict verdict = solve_program(&problem, &optimum);
    const double difference = found && verdict == OPTIMAL ? fabs(plan.worth - optimum) : 0.0;
    t->infeasible += verdict == INFEASIBLE;
    t->empty += found && plan.count == 0;
    t->worst = fmax(t->worst, difference);
    if (verdict == FAILED || found != (verdict == OPTIMAL) || difference > AGREE) {
        t->differ++;
        printf("problem %lu of seed %lu: GLPK %s %.12g, plan %s %.12g\n", number, seed, verdicts[verdict],
               optimum, found ? "found" : "none", found ? plan.worth : 0.0);
    }
}

int main(int argc, char **argv) {
    const unsigned long count = argc > 1 ? strtoul(argv[1], NULL, 10) : 5000,
                        seed = argc > 2 ? strtoul(argv[2], NULL, 10) : 1;
    struct tally t = {0};
    void *scratch = malloc(rw_plan_scratch());
    const clock_t start = clock();
    if (scratch == NULL)
        return 1;
    for (unsigned long number = 0; number < count; number++)
        compare(scratch, seed, number, &t);
    free(scratch);
    printf("glpk: %lu problems, %lu infeasible, %lu with nothing to do, %lu differ, worst difference %.1e, "
           "%.1f s\n",
           count, t.infeasible, t.empty, t.differ, t.worst,
           (double)(clock() - start) / (double)CLOCKS_PER_SEC);
    return t.differ > 0 || t.infeasible == 0 ? 1
                                             : 0; /* with none infeasible, half of the claim is untested */
}
