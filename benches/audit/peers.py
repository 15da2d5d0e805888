"""What two libraries take that look for changes in speeds: peers.py SPEEDS ROUNDS, a recording a line, in metres per second.

Prints the least processor time of all rounds in seconds: of KernelCPD (ruptures, in C), and of a hidden Markov model of two
states (hmmlearn), fitted and decoded. Nothing else is done: no cleaning, no edges, no measures.
"""

import sys
import time

import numpy as np
import ruptures
from hmmlearn.hmm import GaussianHMM


def kernel_cpd(speeds):
    # With this penalty it finds just the changes that clear sessions have.
    penalty = np.log(len(speeds)) * np.var(speeds)
    ruptures.KernelCPD(kernel="linear", min_size=10).fit(speeds).predict(pen=penalty)


def hidden_markov(speeds):
    model = GaussianHMM(n_components=2, n_iter=10, random_state=1)
    model.fit(speeds)
    model.predict(speeds)


recordings = [np.array(line.split(), float).reshape(-1, 1) for line in open(sys.argv[1])]
for peer in (kernel_cpd, hidden_markov):
    rounds = []
    for _ in range(int(sys.argv[2])):
        begin = time.process_time()
        for speeds in recordings:
            peer(speeds)
        rounds.append(time.process_time() - begin)
    print(min(rounds))
