"""A Ray cluster of two nodes on this machine, as a program: its address, then what it is told.

Line by line on stdin: `kill` ends the second node as a machine that fails, `lose` the head; the end
of stdin ends all.
"""

from __future__ import annotations

import sys

from ray.cluster_utils import Cluster

STORE = 100 * 1024 * 1024


def main() -> None:
    """Two nodes of one processor each."""
    head = {"num_cpus": 1, "object_store_memory": STORE, "include_dashboard": False}
    cluster = Cluster(initialize_head=True, head_node_args=head)
    second = cluster.add_node(num_cpus=1, object_store_memory=STORE)
    print(f"address {cluster.address}", flush=True)
    for line in sys.stdin:
        if line.strip() == "kill":
            cluster.remove_node(second, allow_graceful=False)
        elif line.strip() == "lose":
            cluster.head_node.kill_gcs_server(check_alive=False)
            cluster.head_node.kill_raylet(check_alive=False)
        print("done", flush=True)
    cluster.shutdown()


if __name__ == "__main__":
    main()
