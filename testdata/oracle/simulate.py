"""Writes simulated cases into a folder: images, marks.csv and truth.json for each.

    /usr/bin/python3 simulate.py FOLDER [--study]
"""
import json
import multiprocessing
import os
import sys
import warnings

os.environ['OPENBLAS_NUM_THREADS'] = '1'   # small matrices: threads only get in each other's way

import geometry_cases
import quantity_cases
import side_cases
import view_cases


def main(folder, study):
    with multiprocessing.Pool(2) as pool:
        # Monte Carlo goes on beside the rest.
        draws = 6000 if study else 600
        budgets = [pool.apply_async(quantity_cases.budget, (i, draws)) for i in range(8 if study else 2)]
        budgets += [pool.apply_async(quantity_cases.lead_budget, (i, draws)) for i in range(2)]
        write(folder, study, budgets)


def write(folder, study, budgets):
    cases = (geometry_cases.films() + geometry_cases.tilted() + geometry_cases.cover() + geometry_cases.turned_films()
             + geometry_cases.scales() + geometry_cases.beside()
             + quantity_cases.leads() + quantity_cases.deflected() + quantity_cases.positions() + quantity_cases.bent()
             + quantity_cases.scattered(200 if study else 12)
             + side_cases.table() + side_cases.stated() + view_cases.all_cases() + [b.get() for b in budgets])
    for c in cases:
        c.save(folder)
    with open(os.path.join(folder, 'cases.json'), 'w') as f:
        json.dump([c.name for c in cases], f)


if __name__ == '__main__':
    warnings.simplefilter('ignore')
    main(sys.argv[1], '--study' in sys.argv[2:])
